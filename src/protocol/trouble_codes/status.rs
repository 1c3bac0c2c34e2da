//! The status of a trouble code: the bits of the ISO 14229-1 status byte, and what they amount to.

use crate::vocabulary::CodeStatus;

/// The bits of the status byte, by the standard's names.
pub mod status_bits {
    /// The test fails now.
    pub const TEST_FAILED: u8 = 0x01;
    /// The test failed in this operation cycle.
    pub const TEST_FAILED_THIS_CYCLE: u8 = 0x02;
    /// Pending: failed in this cycle or the one before.
    pub const PENDING: u8 = 0x04;
    /// Confirmed: matured and kept.
    pub const CONFIRMED: u8 = 0x08;
    /// The test has not run to its end since the memory was cleared.
    pub const NOT_COMPLETED_SINCE_CLEAR: u8 = 0x10;
    /// The test failed at least once since the memory was cleared.
    pub const FAILED_SINCE_CLEAR: u8 = 0x20;
    /// The test has not run to its end in this operation cycle.
    pub const NOT_COMPLETED_THIS_CYCLE: u8 = 0x40;
    /// A lamp or message is asked for.
    pub const LAMP_REQUESTED: u8 = 0x80;
}

/// What a status amounts to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum StatusReading {
    /// Failing now.
    Current,
    /// Confirmed earlier, not failing now. Intermittent when it has failed since the last clear.
    History {
        /// It has failed since the memory was last cleared.
        intermittent: bool,
    },
    /// Seen, not yet confirmed, not failing at this moment.
    Maturing,
    /// Failed since the last clear, but neither pending nor confirmed any more.
    FailedEarlier,
    /// The test has not run: says nothing, neither way.
    NoInformation,
    /// The test ran and passed.
    Clean,
    /// No status was given.
    Unknown,
}

impl StatusReading {
    /// Reads the raw status byte.
    #[must_use]
    pub fn of_byte(byte: u8) -> StatusReading {
        use status_bits as b;
        let has = |bit: u8| byte & bit != 0;
        if has(b::TEST_FAILED) {
            StatusReading::Current
        } else if has(b::CONFIRMED) {
            StatusReading::History { intermittent: has(b::FAILED_SINCE_CLEAR) }
        } else if has(b::PENDING) || has(b::TEST_FAILED_THIS_CYCLE) {
            StatusReading::Maturing
        } else if has(b::FAILED_SINCE_CLEAR) {
            StatusReading::FailedEarlier
        } else if has(b::NOT_COMPLETED_SINCE_CLEAR) || has(b::NOT_COMPLETED_THIS_CYCLE) {
            StatusReading::NoInformation
        } else {
            StatusReading::Clean
        }
    }

    /// Reads a status however it was reported.
    #[must_use]
    pub fn of(status: CodeStatus) -> StatusReading {
        match status {
            CodeStatus::Pending => StatusReading::Maturing,
            CodeStatus::Confirmed => StatusReading::Current,
            CodeStatus::Stored => StatusReading::History { intermittent: false },
            CodeStatus::Raw(byte) => StatusReading::of_byte(byte),
            CodeStatus::Unknown => StatusReading::Unknown,
        }
    }

    /// Whether the module says that the fault was there at some time. `None` when it cannot tell.
    #[must_use]
    pub fn accuses(self) -> Option<bool> {
        match self {
            StatusReading::Current
            | StatusReading::History { .. }
            | StatusReading::Maturing
            | StatusReading::FailedEarlier => Some(true),
            StatusReading::Clean => Some(false),
            StatusReading::NoInformation | StatusReading::Unknown => None,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ex_1p_to_1w() {
        for (byte, reading) in [
            (0x2F, StatusReading::Current),
            (0x08, StatusReading::History { intermittent: false }),
            (0x28, StatusReading::History { intermittent: true }),
            (0x68, StatusReading::History { intermittent: true }),
            (0x50, StatusReading::NoInformation),
            (0x04, StatusReading::Maturing),
            (0x24, StatusReading::Maturing),
            (0xAF, StatusReading::Current),
            (0x00, StatusReading::Clean),
        ] {
            assert_eq!(StatusReading::of_byte(byte), reading, "{byte:02X}");
        }
        assert_ne!(0xAF & status_bits::LAMP_REQUESTED, 0);
    }

    #[test]
    fn a_test_that_has_not_run_accuses_nobody_and_clears_nobody() {
        assert_eq!(StatusReading::of_byte(0x50).accuses(), None);
        assert_eq!(StatusReading::of_byte(0x00).accuses(), Some(false));
        assert_eq!(StatusReading::of(CodeStatus::Stored).accuses(), Some(true));
        assert_eq!(StatusReading::of(CodeStatus::Unknown).accuses(), None);
    }
}
