//! Tables: vehicles, modules, weather, service notes, and the machinery for every delimited text
//! input. The forms (which fields, which units) are data in `forms.rs`; the header is checked first.

mod cells;
mod forms;
mod header;
mod log_columns;
mod rows;
mod sheet;
mod units;
mod values;

pub(in crate::read) use cells::{QuoteFault, split_cells};
pub use forms::{
    AFTER_PART, AMBIENT_C, BATTERY_V, BUS_LOGS, ColumnChoice, ColumnChoices, FORMS, Field, Form,
    HUMIDITY_PCT, Holds, MODULES, OCCURRENCES, ODOMETER_KM, SCAN_REPORTS, SERVICE, SEVERITIES,
    SEVERITY, SINCE_START_S, VEHICLES, WEATHER,
};
pub use header::check_choice;
pub use log_columns::{
    LOG_FIELDS, LogColumns, LogField, log_columns_of_header, log_columns_of_names,
};
pub use rows::{
    read_after_part, read_modules, read_service, read_severity, read_vehicles, read_weather,
};
pub use sheet::Sheet;
pub use units::{Quantity, Scale, epoch_decimals};
pub use values::{check_range, parse_flag, parse_number, whole_number};
