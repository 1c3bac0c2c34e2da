//! Fault confinement of a CAN controller: error counters, error passive, bus-off and the way back.
//!
//! Source: Bosch CAN Specification 2.0 (1991), rules of fault confinement, as in ISO 11898-1.

/// Above this a node is error passive.
const PASSIVE: u32 = 127;
/// From here on it is bus off.
const BUS_OFF: u32 = 256;
/// Bits of recessive level after which a bus-off node may return.
const RECOVERY_BITS: u32 = 128 * 11;

/// How a node takes part.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum State {
    /// Its error flags are dominant.
    Active,
    /// Its error flags are recessive: nobody hears them.
    Passive,
    /// It takes no part.
    BusOff,
}

/// The error counters of one node.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Counters {
    /// Transmit error counter.
    pub transmit: u32,
    /// Receive error counter.
    pub receive: u32,
}

impl Counters {
    /// A transmission failed. `unacknowledged`: only because nobody acknowledged it; a passive node
    /// then does not count it, so a node alone on its wires never goes bus off.
    pub fn send_failed(&mut self, unacknowledged: bool) {
        if !(unacknowledged && self.state() == State::Passive) {
            self.transmit = self.transmit.saturating_add(8).min(BUS_OFF);
        }
    }

    /// A transmission went through.
    pub fn sent(&mut self) {
        self.transmit = self.transmit.saturating_sub(1);
    }

    /// A reception failed. `first`: this node noticed it before all others.
    pub fn receive_failed(&mut self, first: bool) {
        self.receive = self.receive.saturating_add(if first { 8 } else { 1 }).min(255);
    }

    /// A reception went through; from above 127 the counter falls to 127 (119 to 127 are allowed).
    pub fn received(&mut self) {
        self.receive =
            if self.receive > PASSIVE { PASSIVE } else { self.receive.saturating_sub(1) };
    }

    /// The state that follows.
    #[must_use]
    pub fn state(&self) -> State {
        if self.transmit >= BUS_OFF {
            State::BusOff
        } else if self.transmit > PASSIVE || self.receive > PASSIVE {
            State::Passive
        } else {
            State::Active
        }
    }
}

/// Share of failed transmissions above which the transmit counter climbs: +8 against −1.
pub const CLIMBS_FROM: f64 = 1.0 / 9.0;

/// The least gap in a node's frames that bus-off makes, seconds; `None` without a bit rate.
#[must_use]
pub fn shortest_bus_off(bitrate: u32) -> Option<f64> {
    (bitrate > 0).then(|| f64::from(RECOVERY_BITS) / f64::from(bitrate))
}

/// Bits from the first failed try to bus-off when every try breaks off after `broken_at` bits and flags take
/// `flag` bits (6 alone, up to 12 laid over each other): 16 tries active, 16 passive with their 8 bits of waiting.
#[must_use]
pub fn bits_to_bus_off(broken_at: u32, flag: u32) -> u32 {
    const DELIMITER_AND_SPACE: u32 = 8 + 3;
    const WAITING: u32 = 8;
    let one = broken_at + flag + DELIMITER_AND_SPACE;
    16 * one + 16 * (one + WAITING)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn after(tries: u32, unacknowledged: bool) -> Counters {
        let mut node = Counters::default();
        (0..tries).for_each(|_| node.send_failed(unacknowledged));
        node
    }

    /// EX-4m to EX-4u (FACTS 4.3).
    #[test]
    fn published_cases() {
        assert_eq!((after(16, false).transmit, after(16, false).state()), (128, State::Passive));
        assert_eq!((after(32, false).transmit, after(32, false).state()), (256, State::BusOff));
        assert_eq!((after(9999, true).transmit, after(9999, true).state()), (128, State::Passive));
        assert!((CLIMBS_FROM - 0.111).abs() < 2e-4);
        let mut node = after(8, false);
        assert_eq!(node.transmit, 64);
        (0..64).for_each(|_| node.sent());
        assert_eq!(node, Counters::default());
        let mut listener = Counters { transmit: 0, receive: 200 };
        listener.received();
        assert!((119..=127).contains(&listener.receive));
        (0..9999).for_each(|_| listener.receive_failed(true));
        assert_eq!(listener.state(), State::Passive, "who only listens never goes bus off");
        for (bitrate, milliseconds) in
            [(125_000, 11.264), (250_000, 5.632), (500_000, 2.816), (1_000_000, 1.408)]
        {
            let gap = shortest_bus_off(bitrate).unwrap() * 1e3;
            assert!((gap - milliseconds).abs() < 1e-9, "{bitrate}: {gap}");
        }
        assert_eq!(shortest_bus_off(0), None);
        assert_eq!((bits_to_bus_off(30, 6), bits_to_bus_off(30, 12)), (1632, 1824));
    }
}
