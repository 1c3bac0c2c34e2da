//! The logs of a plan that lie in an object store: listed, and each new one looked into by its first bytes.
//! Only a run with an engine has somebody to ask for them.

use std::collections::BTreeMap;
use std::sync::Arc;

use rayon::prelude::*;

use super::elsewhere::Engine;
use super::given::Taken;
use super::plan::Plan;
use super::sources::take;
use super::wanted::Wanted;
use crate::facts::KnownFiles;
use crate::read::finding::{Found, ObjectPattern};
use crate::read::objects::{Missing, Object, is_url};
use crate::vocabulary::{Place, Reject};

/// Objects whose first bytes are held at the same time.
const TOGETHER: usize = 512;

/// The patterns that name objects.
pub(super) fn patterns(plan: &Plan) -> impl Iterator<Item = &String> {
    plan.inputs.bus_logs.iter().filter(|pattern| is_url(pattern))
}

/// All logs in object stores, and the patterns that found none. Logs that are `known` are not asked for.
///
/// # Errors
/// In words, when there is nobody to ask, or a store does not answer.
pub(super) fn take_all(
    plan: &Plan,
    known: &KnownFiles,
    engine: Option<&dyn Engine>,
) -> Result<(Vec<Taken>, Vec<String>), String> {
    let (mut found, mut empty) = (BTreeMap::new(), Vec::new());
    for pattern in patterns(plan) {
        let Some(engine) = engine else {
            return Err(format!(
                "`bus_logs`: `{pattern}` lies in an object store; only `buswitness-cluster run PIPELINE --on \
                 df://HOST:PORT` reads from there; or copy the logs into a folder and name that"
            ));
        };
        let wrong = |why| format!("`bus_logs`: {why}");
        let some = ObjectPattern::parse(pattern).and_then(|p| p.find(&engine.objects()));
        let some = some.map_err(wrong)?;
        if some.is_empty() {
            empty.push(pattern.clone());
        }
        for one in some {
            found.entry(Arc::clone(&one.name)).or_insert(one);
        }
    }
    let mut taken = Vec::new();
    let mut found = found.into_values().peekable();
    while found.peek().is_some() {
        let some: Vec<Found> = found.by_ref().take(TOGETHER).collect();
        taken.extend(take_some(plan, known, some)?);
    }
    Ok((taken, empty))
}

fn take_some(plan: &Plan, known: &KnownFiles, some: Vec<Found>) -> Result<Vec<Taken>, String> {
    let new = |found: &&Found| found.stamp().is_none_or(|s| known.of(&found.name, &s).is_none());
    let stored: Vec<_> = some.iter().filter(new).filter_map(|f| f.object.as_ref()).collect();
    let asked: Vec<&Object> = stored.iter().map(|stored| &stored.object).collect();
    let came = stored.first().map(|stored| stored.by.first(&asked)).unwrap_or_default();
    let mut first = BTreeMap::new();
    for (object, came) in asked.into_iter().zip(came) {
        match came {
            Err(Missing::Store(why)) => return Err(why),
            came => first.insert(object.url.clone(), came.map_err(|why| why.words().to_owned())),
        };
    }
    let with_first: Vec<_> = some
        .into_iter()
        .map(|found| {
            let first = first.remove(&*found.name);
            (found, first)
        })
        .collect();
    let one = |(found, first)| {
        take(plan, known, found, Wanted::Log, |found: &Found| match (&found.object, first) {
            (Some(stored), Some(Ok(first))) => stored.open(first, &found.name),
            (_, Some(Err(why))) => Err(Reject::one(Place::whole(&found.name), why)),
            _ => found.open(),
        })
    };
    Ok(with_first.into_par_iter().map(one).collect())
}
