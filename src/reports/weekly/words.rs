//! The week in words, the same on the page and in the tables.

use chrono::Datelike as _;

use crate::reports::wording::{
    capital, condition, count, number, p_value, percent, shown, suspect, the_suspect,
};
use crate::weeks::{Change, Common, FleetWeek, Need, Span, VehicleWeek};

/// A week with its year, as in `25 to 31 January 2026`.
pub(super) fn long_span(span: Span) -> String {
    let (first, last) = (span.first, span.last);
    let begin = if first.year() != last.year() {
        first.format("%-d %B %Y")
    } else if first.month() != last.month() {
        first.format("%-d %B")
    } else {
        first.format("%-d")
    };
    format!("{begin} to {}", last.format("%-d %B %Y"))
}

/// A week on an axis, as in `25\u{2013}31 Jan`.
pub(super) fn short_span(span: Span) -> String {
    let same = span.first.month() == span.last.month();
    let begin = span.first.format(if same { "%-d" } else { "%-d %b" });
    format!("{begin}\u{2013}{}", span.last.format("%-d %b"))
}

/// Minutes as people plan them.
pub(super) fn minutes(minutes: f64) -> String {
    if minutes < 90.0 {
        return format!("{minutes:.0} min");
    }
    let quarter = (minutes / 15.0).round() * 15.0;
    let (hours, rest) = ((quarter / 60.0).floor(), quarter % 60.0);
    if rest < 1.0 { format!("{hours:.0} h") } else { format!("{hours:.0} h {rest:.0} min") }
}

/// The answer in one sentence.
pub(super) fn answer(week: &FleetWeek) -> String {
    let all = week.vehicles.len();
    let bays = week.needing(Need::Bay);
    let Some(first) = week.vehicles.first().filter(|v| v.need == Need::Bay) else {
        let unseen = week.needing(Need::Data);
        return match (all, unseen) {
            (0, _) => "No vehicle was found in the inputs.".to_owned(),
            (_, 0) => "No vehicle needs a bay this week.".to_owned(),
            (_, n) => format!(
                "No vehicle needs a bay this week, but nothing can be said of {}.",
                count(n, "vehicle")
            ),
        };
    };
    let book = total(week);
    let how_many = match (bays, all) {
        (_, 1) => "The only vehicle needs".to_owned(),
        (1, _) => format!("1 of {all} vehicles needs"),
        _ => format!("{bays} of {all} vehicles need"),
    };
    let led = first.leader.as_ref().map_or_else(String::new, |(who, p)| {
        let name = shown(&the_suspect(who), 80);
        if first.decided {
            format!(": {name} ({})", percent(*p))
        } else {
            format!(": undecided, {name} leads ({})", percent(*p))
        }
    });
    let safety = if first.safety { ", a matter of people\u{2019}s safety" } else { "" };
    format!(
        "{how_many} a bay this week{book}; begin with {}{led}{safety}.",
        shown(&first.vehicle, 60)
    )
}

/// How long the bookings take in all, as the end of a clause.
fn total(week: &FleetWeek) -> String {
    let bays = || week.vehicles.iter().filter(|v| v.need == Need::Bay);
    let known: Vec<f64> = bays().filter_map(|v| v.booking.minutes).collect();
    if known.is_empty() {
        return String::new();
    }
    let open = bays().count() - known.len();
    let rest = if open > 0 { format!(" and {open} of unknown length") } else { String::new() };
    format!(", about {} in all{rest}", minutes(known.iter().sum()))
}

/// What a vehicle suffers from.
pub(super) fn why(v: &VehicleWeek) -> String {
    match &v.leader {
        Some((who, _)) if v.decided => shown(&suspect(who), 80),
        Some((who, _)) => format!("undecided; {} leads", shown(&suspect(who), 80)),
        None => String::new(),
    }
}

/// What the comparison of starts says.
pub(super) fn change(v: &VehicleWeek) -> String {
    let c = &v.changed;
    let under: Vec<String> = c.under.iter().map(|name| condition(name)).collect();
    let only = match under.as_slice() {
        [] => String::new(),
        kinds => format!("; counting only starts that were {}", kinds.join(" and ")),
    };
    let this = format!("{} of {} starts this week", c.week.hits, c.week.starts);
    match c.change {
        Change::NotSeen => "no start that could have shown it".to_owned(),
        Change::NotTested => format!("no start this week that was {}", under.join(" and ")),
        Change::Fixed if c.before.starts == 0 && c.week.starts == 0 => {
            "the repair has held".to_owned()
        }
        Change::Fixed => format!("the repair has held; {this}{only}"),
        _ if c.before.starts == 0 => format!("{this}, none to compare{only}"),
        _ => format!(
            "{this}, {} of {} in the four weeks before{only}",
            c.before.hits, c.before.starts
        ),
    }
}

/// What was concluded a week before, where it was something else.
pub(super) fn was(v: &VehicleWeek) -> Option<String> {
    let was = v.was.as_ref()?;
    let (led, now) = (was.leader.as_ref()?, v.leader.as_ref()?);
    let decided = matches!(was.verdict, crate::vocabulary::Verdict::Suspect(_));
    if led.0 == now.0 && decided == v.decided {
        return None;
    }
    let name = shown(&suspect(&led.0), 60);
    let p = percent(led.1);
    Some(if decided {
        format!("a week ago: {name} ({p})")
    } else {
        format!("a week ago: undecided, {name} led ({p})")
    })
}

/// How the urgency came about, as in `0.91 × 10 × 1.5`.
pub(super) fn urgency(v: &VehicleWeek) -> Option<String> {
    let trend = v.changed.trend.map_or_else(|| "1".to_owned(), |trend| number(trend, 1));
    Some(format!(
        "{} \u{d7} {} \u{d7} {trend}",
        number(v.probability?, 2),
        number(v.mean_severity?, 1)
    ))
}

/// A common cause in one sentence.
pub(super) fn common(c: &Common) -> String {
    let who = c.suspect.as_ref().map_or_else(
        || "Any fault of the bus".to_owned(),
        |who| shown(&capital(&suspect(who)), 80),
    );
    let value = shown(&c.value, 60);
    let Some(p) = c.p_value else {
        return format!(
            "{who} in {} of {} vehicles of model network {value}: one way of routing or fitting may be \
             behind them all.",
            c.with.0, c.with.1
        );
    };
    let adjusted = c.p_adjusted.unwrap_or(p);
    let chance = if c.shown {
        format!("hardly chance (p {})", p_value(adjusted))
    } else {
        format!("it may be chance (p {})", p_value(adjusted))
    };
    format!(
        "{who}, {} {value}: at fault in {} of {} vehicles with it and in {} of {} without it; {chance}.",
        c.by, c.with.0, c.with.1, c.without.0, c.without.1
    )
}
