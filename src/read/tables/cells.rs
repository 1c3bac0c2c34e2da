//! Cells of a delimited text line.
//!
//! Grammar: cells are parted by `,`, `;` or a tab, whichever the header uses most. A cell may stand in
//! double quotes; inside them the separator and line ends are plain characters and `""` is one quote.
//! Blanks around a cell are not part of it. A quote inside an unquoted cell is a plain character.

/// The separator that a header line uses: the commonest of tab, `;` and `,` outside quotes.
pub(super) fn separator_of(header: &str) -> char {
    let mut quoted = false;
    let (mut commas, mut semicolons, mut tabs) = (0, 0, 0);
    for c in header.chars() {
        match c {
            '"' => quoted = !quoted,
            ',' if !quoted => commas += 1,
            ';' if !quoted => semicolons += 1,
            '\t' if !quoted => tabs += 1,
            _ => {}
        }
    }
    if semicolons > commas && semicolons >= tabs {
        ';'
    } else if tabs > commas {
        '\t'
    } else {
        ','
    }
}

/// What is wrong with a line's quotes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::read) enum QuoteFault {
    /// The last one is not closed: the cell may go on in the next line.
    Open,
    /// Something follows a closed one inside its cell.
    Stray,
}

/// Splits a line into its cells.
pub(in crate::read) fn split_cells(line: &str, separator: char) -> Result<Vec<String>, QuoteFault> {
    let mut cells = Vec::new();
    let mut cell = String::new();
    let mut quoted = false;
    let mut was_quoted = false;
    let mut rest = line.chars().peekable();
    while let Some(c) = rest.next() {
        match c {
            '"' if quoted && rest.peek() == Some(&'"') => {
                rest.next();
                cell.push('"');
            }
            '"' if quoted => quoted = false,
            '"' if !was_quoted && cell.trim().is_empty() => {
                cell.clear();
                quoted = true;
                was_quoted = true;
            }
            _ if c == separator && !quoted => {
                cells.push(finished(&mut cell));
                was_quoted = false;
            }
            _ if was_quoted && !quoted && !c.is_whitespace() => return Err(QuoteFault::Stray),
            _ => cell.push(c),
        }
    }
    if quoted {
        return Err(QuoteFault::Open);
    }
    cells.push(finished(&mut cell));
    Ok(cells)
}

fn finished(cell: &mut String) -> String {
    let trimmed = cell.trim();
    if trimmed.len() == cell.len() {
        return std::mem::take(cell);
    }
    let kept = trimmed.to_owned();
    cell.clear();
    kept
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn separators() {
        assert_eq!(separator_of("a,b;c,d"), ',');
        assert_eq!(separator_of("a;b;c"), ';');
        assert_eq!(separator_of("a\tb"), '\t');
        assert_eq!(separator_of("\"a;b;c\",d"), ',');
        assert_eq!(separator_of("alone"), ',');
    }

    #[test]
    fn quotes() {
        assert_eq!(split_cells("a, b ,", ',').unwrap(), ["a", "b", ""]);
        assert_eq!(split_cells(r#""a,b","say ""x""",c"#, ',').unwrap(), ["a,b", "say \"x\"", "c"]);
        assert_eq!(split_cells("5\" pipe,b", ',').unwrap(), ["5\" pipe", "b"]);
        assert_eq!(split_cells("\"two\nlines\",b", ',').unwrap(), ["two\nlines", "b"]);
        assert_eq!(split_cells("a,\"open", ','), Err(QuoteFault::Open));
        assert_eq!(split_cells("\"a\"b,c", ','), Err(QuoteFault::Stray));
        assert_eq!(split_cells("\"a\" ,c", ',').unwrap(), ["a", "c"]);
        assert_eq!(split_cells("", ',').unwrap(), [""]);
    }
}
