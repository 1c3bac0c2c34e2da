//! Names as small numbers, so that a million modules can be grouped without a million copies.

use std::collections::HashMap;
use std::sync::Arc;

/// Number of the name that stands for "not known".
pub(super) const UNKNOWN: u32 = 0;

/// Names in the order in which they came; number 0 is "not known".
#[derive(Debug, Clone)]
pub(super) struct Names {
    list: Vec<Arc<str>>,
    places: HashMap<Arc<str>, u32>,
}

impl Names {
    pub(super) fn new() -> Names {
        Names { list: vec!["unknown".into()], places: HashMap::new() }
    }

    /// The number of a name; a name that is not there is added. No name, or an empty one: 0.
    pub(super) fn number(&mut self, name: Option<&str>) -> u32 {
        let Some(name) = name.filter(|name| !name.is_empty()) else { return UNKNOWN };
        if let Some(place) = self.places.get(name) {
            return *place;
        }
        let place = u32::try_from(self.list.len()).unwrap_or(UNKNOWN);
        let name: Arc<str> = name.into();
        self.list.push(Arc::clone(&name));
        self.places.insert(name, place);
        place
    }

    pub(super) fn name(&self, number: u32) -> Arc<str> {
        let place = usize::try_from(number).unwrap_or(0);
        self.list.get(place).or_else(|| self.list.first()).cloned().unwrap_or_else(|| "".into())
    }
}
