//! Tables that are right, and every way in which one can be wrong.

use std::collections::BTreeMap;

use chrono_tz::{America, Tz, UTC};

use super::*;
use crate::read::tables::ColumnChoice;
use crate::vocabulary::{Place, Spot};

fn none() -> ColumnChoices {
    BTreeMap::new()
}

fn weather(text: &[u8]) -> Reading<Vec<WeatherRow>> {
    read_weather(text, &"w.csv".into(), &none(), UTC)
}

fn reasons(account: &Account) -> Vec<String> {
    account.rejects.iter().map(|r| format!("{}: {}", r.place, r.reason)).collect()
}

#[test]
fn a_plain_weather_table() {
    let read = weather(
        b"site,time,temperature_c,humidity_pct,precipitation_mm\n\
          quay,2026-01-12T06:00:00Z,-3.5,96,0.2\nquay,2026-01-12 07:00,NA,,\n",
    );
    assert_eq!(reasons(&read.account), [""; 0]);
    assert_eq!(read.records[0].temperature_c, Some(-3.5));
    assert_eq!(read.records[1].temperature_c, None);
    assert_eq!(read.records[1].place, Place::line(&"w.csv".into(), 3));
    assert_eq!(read.account.leniencies["`NA` read as no value"], 1);
}

#[test]
fn renamed_columns_units_and_zones() {
    let choice = |column: &str, unit: Option<&str>, zone: Option<Tz>| ColumnChoice {
        column: Some(column.into()),
        unit: unit.map(Into::into),
        zone,
    };
    let choices: ColumnChoices = [
        ("site".to_owned(), choice("origin", None, None)),
        ("time".to_owned(), choice("when", None, Some(America::New_York))),
        ("temperature_c".to_owned(), choice("temp", Some("°F"), None)),
        ("precipitation_mm".to_owned(), choice("precip", Some("inch"), None)),
    ]
    .into();
    let text = b"origin,when,temp,precip,visib\nEWR,2013-01-01 01:00,32,0.1,10\n";
    let read = read_weather(&text[..], &"w".into(), &choices, UTC);
    assert_eq!(reasons(&read.account), [""; 0]);
    let row = &read.records[0];
    assert_eq!(row.time.to_string(), "2013-01-01T06:00:00Z");
    assert!(row.temperature_c.unwrap().abs() < 1e-9);
    assert!((row.precipitation_mm.unwrap() - 2.54).abs() < 1e-9);
    assert_eq!(read.account.leniencies["unknown column `visib` ignored"], 1);
}

#[test]
fn a_missing_column_is_named_with_what_was_found_and_the_nearest() {
    let read = weather(b"site,tme,temperature_c\nquay,2026-01-12 06:00,1\n");
    let reason = &reasons(&read.account)[0];
    assert!(reason.contains("w.csv:1: weather table: missing column `time`"), "{reason}");
    assert!(reason.contains("found site, tme, temperature_c"), "{reason}");
    assert!(reason.contains("the nearest is `tme`"), "{reason}");
    assert!(read.records.is_empty());
}

#[test]
fn a_column_twice_or_in_other_case() {
    let read = weather(b"site,time,time\n");
    assert!(reasons(&read.account)[0].contains("stands twice (columns 2 and 3)"));
    let read = weather(b"Site,TIME\nquay,2026-01-12 06:00\n");
    assert_eq!(read.records.len(), 1);
    assert_eq!(read.account.leniencies["column `TIME` read as `time`"], 1);
}

#[test]
fn semicolons_and_decimal_commas() {
    let read = weather(b"site;time;temperature_c\r\nquay;2026-01-12 06:00;-3,5\r\n");
    assert_eq!(read.records[0].temperature_c, Some(-3.5));
    assert_eq!(read.account.leniencies["decimal comma read as a point"], 1);
    let read = weather(b"site,time,temperature_c\nquay,2026-01-12 06:00,\"-3,5\"\n");
    assert_eq!(read.records[0].temperature_c, None);
    assert!(reasons(&read.account)[0].contains("only read in tables separated by `;`"));
}

#[test]
fn bad_rows_are_refused_and_the_rest_is_read() {
    let read = weather(
        b"site,time,humidity_pct\nquay,2026-01-12 06:00,101\nquay,monday,50\n,2026-01-12 06:00,5\n\
          quay,2026-01-12 06:00\nqu\xE9y,2026-01-12 06:00,50\n,,\nquay,2026-01-12 08:00,50,,\n\
          quay,2026-01-12 09:00,fifty\nquay,,5\n",
    );
    let found = reasons(&read.account);
    for (reason, part) in found.iter().zip([
        "w.csv:2: `humidity_pct`: 101 is outside what can be true (0 to 100)",
        "w.csv:3: `time`: `monday` is not a time",
        "w.csv:4: `site` is empty",
        "w.csv:5: row has 2 cells, the header has 3",
        "w.csv:6: line is not UTF-8 (byte 0xE9 at column 3)",
        "w.csv:9: `humidity_pct`: `fifty` is not a number",
        "w.csv:10: `time` is empty",
    ]) {
        assert!(reason.contains(part), "{reason} lacks {part}");
    }
    assert_eq!(found.len(), 7);
    assert_eq!(read.records.len(), 3);
    assert_eq!(read.account.leniencies["row of empty cells skipped"], 1);
}

#[test]
fn an_open_quote_costs_one_row_not_the_file() {
    let read = weather(
        b"site,time\n\"quay,2026-01-12 06:00\nb,2026-01-12 07:00\n\"c\",2026-01-12 08:00\n",
    );
    assert_eq!(reasons(&read.account).len(), 1);
    assert_eq!(read.records.len(), 2);
    let read = weather(b"site,time\n\"two\nlines\",2026-01-12 06:00\n");
    assert_eq!(read.records[0].site, "two\nlines");
}

#[test]
fn nothing_and_an_enormous_line() {
    assert!(reasons(&weather(b"").account)[0].contains("no header line"));
    let mut text = b"site,time\n".to_vec();
    text.extend(std::iter::repeat_n(b'x', 3 << 20));
    text.extend(b"\nquay,2026-01-12 06:00\n");
    let read = weather(&text);
    assert!(reasons(&read.account)[0].starts_with("w.csv:2: line of 3145728 bytes"));
    assert_eq!(read.records.len(), 1);
}

#[test]
fn a_stream_that_breaks_off_gives_its_rows_and_a_byte() {
    struct Breaks;
    impl Read for Breaks {
        fn read(&mut self, _: &mut [u8]) -> std::io::Result<usize> {
            Err(std::io::Error::other("gzip data break off"))
        }
    }
    let source = (&b"site,time\nquay,2026-01-12 06:00\nquay,2026-01-"[..]).chain(Breaks);
    let read = read_weather(source, &"w".into(), &none(), UTC);
    assert_eq!(read.records.len(), 1);
    assert_eq!(read.account.rejects.last().unwrap().place.spot, Spot::Byte(45));
}

#[test]
fn vehicles_modules_and_service_notes() {
    let name = "t.csv".into();
    let read = read_vehicles(
        &b"vehicle,network,in_service,odometer_km\nLH-01,HT4,2024-05-01,81234\n"[..],
        &name,
        &none(),
        UTC,
    );
    assert_eq!(read.records[0].in_service.unwrap().to_string(), "2024-05-01T00:00:00Z");
    let read = read_modules(
        &b"vehicle,node,batch,removal_reason\nLH-01,body,B1,Network fault\nLH-02,body,,worn\n"[..],
        &name,
        &none(),
        UTC,
    );
    assert_eq!(read.records[0].removal_reason.as_deref(), Some("network-fault"));
    assert!(reasons(&read.account)[0].contains("unknown removal_reason `worn`"));
    let read = read_service(
        &b"time,vehicle,action,target,outcome,note\n\
           2026-01-12 06:00,LH-01,replace,node:body,no-change,\"by night, in rain\"\n\
           2026-01-12 06:00,LH-01,replce,node:body,,\n\
           2026-01-12 06:00,LH-01,road-test,door,better,\n"[..],
        &name,
        &none(),
        UTC,
    );
    assert_eq!(read.records.len(), 2);
    assert_eq!(read.records[0].target, Some(Suspect::Node("body".into())));
    assert_eq!(read.records[0].note, "by night, in rain");
    assert_eq!(read.records[1].target, None);
    let found = reasons(&read.account);
    assert!(found[0].contains("unknown action `replce`; did you mean `replace`?"), "{found:?}");
    assert!(found[1].contains("unknown target `door`"), "{found:?}");
    assert!(found[2].contains("unknown outcome `better`"), "{found:?}");
}

#[test]
fn a_class_of_severity_that_no_word_tells_is_refused() {
    let text =
        b"class,words,severity,safety\nradio, ; ,3,no\nwinch,winch; hoist ,8,yes\nsupply,,7,no\n\
                 any,,4,no\nradio,radio,2,no\n";
    let read = read_severity(&text[..], &"s.csv".into(), &none(), UTC);
    let found = reasons(&read.account);
    assert_eq!(found.len(), 1, "{found:?}");
    for part in ["s.csv:2: `words` is empty", "of class `radio`", "`any` and `supply` need none"] {
        assert!(found[0].contains(part), "{found:?}");
    }
    let rows: Vec<(&str, Vec<&str>)> = read
        .records
        .iter()
        .map(|row| (row.class.as_str(), row.words.iter().map(String::as_str).collect()))
        .collect();
    // The refused row does not stand in the way of a right one of its class.
    let wanted = [
        ("winch", vec!["winch", "hoist"]),
        ("supply", vec![]),
        ("any", vec![]),
        ("radio", vec!["radio"]),
    ];
    assert_eq!(rows, wanted);
}

#[test]
fn a_real_year_of_weather_in_foreign_units() {
    let Ok(folder) = std::env::var("BUSWITNESS_CAPTURES") else {
        println!("BUSWITNESS_CAPTURES is not set; the test on kept captures is skipped");
        return;
    };
    let path = std::path::Path::new(&folder).join("weather/weather.csv.gz");
    let opened = crate::read::opening::open(&path, &"weather.csv.gz".into()).unwrap();
    let choice = |column: &str, unit: Option<&str>| ColumnChoice {
        column: Some(column.into()),
        unit: unit.map(Into::into),
        zone: None,
    };
    let choices: ColumnChoices = [
        ("site".to_owned(), choice("origin", None)),
        ("time".to_owned(), choice("time_hour", None)),
        ("temperature_c".to_owned(), choice("temp", Some("°F"))),
        ("humidity_pct".to_owned(), choice("humid", Some("%"))),
        ("precipitation_mm".to_owned(), choice("precip", Some("inch"))),
    ]
    .into();
    let read = read_weather(opened.bytes, &opened.name, &choices, UTC);
    assert_eq!(read.records.len(), 26_115);
    let first = &read.records[0];
    assert_eq!(
        (first.site.as_str(), first.time.to_string()),
        ("EWR", "2013-01-01T06:00:00Z".into())
    );
    assert!((first.temperature_c.unwrap() - 3.9).abs() < 1e-9);
    println!("{:?} {:?}", reasons(&read.account), read.account.leniencies);
}
