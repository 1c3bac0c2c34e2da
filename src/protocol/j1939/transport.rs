//! The transport protocol of SAE J1939-21: messages of 9 to 1,785 bytes out of many frames.
//!
//! Connection management (group 60416) announces, data transfer (60160) follows: byte 1 is the number
//! of the packet, seven bytes are data. A broadcast (BAM) has no handshake; a connection (RTS, CTS,
//! end of message, abort) has, and its receiver may ask for packets again. A message whose packets
//! do not come in order and in time is dropped: no half list of codes is ever read.

use std::collections::BTreeMap;

use crate::vocabulary::Instant;

/// Connection management.
pub const MANAGEMENT: u32 = 0xEC00;
/// Data transfer.
pub const DATA: u32 = 0xEB00;
/// Everybody.
const ALL: u8 = 255;
/// Transfers under way at once; a bus has 253 addresses, few of which send long messages at a time.
const MOST_TRANSFERS: usize = 64;
/// Longest wait between packets: broadcast, connection (nanoseconds). FACTS 3.4, kernel values.
const BROADCAST_WAIT: i64 = 750_000_000;
const CONNECTION_WAIT: i64 = 1_250_000_000;

/// A message put together.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Message {
    /// Parameter group.
    pub group: u32,
    /// Its bytes.
    pub payload: Vec<u8>,
    /// The line of its announcement.
    pub line: u64,
}

/// What one frame led to.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Step {
    /// A message is whole.
    pub message: Option<Message>,
    /// A transfer was cut: the group it would have been.
    pub cut: Option<u32>,
}

#[derive(Debug, Clone)]
struct Transfer {
    group: u32,
    size: usize,
    packets: u8,
    next: u8,
    bytes: Vec<u8>,
    last: Instant,
    line: u64,
}

/// Transfers under way, one for each sender and receiver.
#[derive(Debug, Clone, Default)]
pub struct Transport {
    open: BTreeMap<(u8, u8), Transfer>,
}

impl Transport {
    /// Takes a frame of connection management or data transfer; `bytes` are its data.
    pub fn frame(
        &mut self,
        data: bool,
        source: u8,
        destination: u8,
        bytes: &[u8],
        time: Instant,
        line: u64,
    ) -> Step {
        let Ok(bytes) = <[u8; 8]>::try_from(bytes) else { return Step::default() };
        if data {
            return self.packet(source, destination, bytes, time);
        }
        let [control, low, high, packets, _, g0, g1, g2] = bytes;
        let group = u32::from_le_bytes([g0, g1, g2, 0]) & 0x3_FFFF;
        match control {
            0x20 | 0x10 => {
                let size = usize::from(u16::from_le_bytes([low, high]));
                // The announcement must agree with itself: packets = size / 7, rounded up.
                if !(9..=1785).contains(&size)
                    || usize::from(packets) != size.div_ceil(7)
                    || (control == 0x20) != (destination == ALL)
                {
                    return Step::default();
                }
                let cut = self.open.remove(&(source, destination)).map(|t| t.group);
                if self.open.len() >= MOST_TRANSFERS {
                    let oldest = self.open.iter().min_by_key(|(key, t)| (t.last, **key));
                    if let Some(key) = oldest.map(|(key, _)| *key) {
                        self.open.remove(&key);
                    }
                }
                let open =
                    Transfer { group, size, packets, next: 1, bytes: Vec::new(), last: time, line };
                self.open.insert((source, destination), open);
                Step { message: None, cut }
            }
            // Clear to send: the receiver names the packet it wants next, perhaps again.
            0x11 => {
                if let Some(open) = self.open.get_mut(&(destination, source)) {
                    open.last = time;
                    if (1..=open.next).contains(&high) {
                        open.next = high;
                        open.bytes.truncate((usize::from(high) - 1) * 7);
                    }
                }
                Step::default()
            }
            // Either end may abort.
            0xFF => {
                let gone = self.open.remove(&(source, destination));
                let gone = gone.or_else(|| self.open.remove(&(destination, source)));
                Step { message: None, cut: gone.map(|t| t.group) }
            }
            _ => Step::default(),
        }
    }

    fn packet(&mut self, source: u8, destination: u8, bytes: [u8; 8], time: Instant) -> Step {
        let key = (source, destination);
        let Some(open) = self.open.get_mut(&key) else { return Step::default() };
        let wait = if destination == ALL { BROADCAST_WAIT } else { CONNECTION_WAIT };
        let late = time.0.saturating_sub(open.last.0) > wait;
        if late || bytes[0] != open.next {
            let group = open.group;
            self.open.remove(&key);
            return Step { message: None, cut: Some(group) };
        }
        open.bytes.extend_from_slice(&bytes[1..]);
        open.last = time;
        if open.next < open.packets {
            open.next += 1;
            return Step::default();
        }
        let done = self.open.remove(&key).map(|mut t| {
            t.bytes.truncate(t.size);
            Message { group: t.group, payload: t.bytes, line: t.line }
        });
        Step { message: done, cut: None }
    }

    /// Drops what has waited too long by `now`; the groups that were cut, by sender.
    pub fn expire(&mut self, now: Instant) -> Vec<(u8, u32)> {
        let late: Vec<(u8, u8)> = self
            .open
            .iter()
            .filter(|((_, to), t)| {
                let wait = if *to == ALL { BROADCAST_WAIT } else { CONNECTION_WAIT };
                now.0.saturating_sub(t.last.0) > wait
            })
            .map(|(key, _)| *key)
            .collect();
        late.into_iter().filter_map(|key| Some((key.0, self.open.remove(&key)?.group))).collect()
    }

    /// Transfers under way, and the bytes kept of them.
    #[must_use]
    pub fn held(&self) -> (usize, usize) {
        (self.open.len(), self.open.values().map(|t| t.bytes.len()).sum())
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::protocol::j1939::{header, trouble};
    use crate::vocabulary::Identifier;

    fn hex(text: &str) -> Vec<u8> {
        text.split_whitespace().map(|pair| u8::from_str_radix(pair, 16).unwrap()).collect()
    }

    fn low_byte(n: usize) -> u8 {
        n.to_le_bytes()[0]
    }

    const MS: i64 = 1_000_000;

    /// Frames as identifier and data, `gap` milliseconds apart: all messages, and what was cut.
    fn run(frames: &[(u32, &str)], gap: i64) -> (Vec<Message>, Vec<u32>) {
        let mut all = Transport::default();
        let (mut messages, mut cut) = (Vec::new(), Vec::new());
        for (n, (id, text)) in (0i64..).zip(frames) {
            let h = header(Identifier::extended(*id)).unwrap();
            let data = h.group == DATA;
            let time = Instant(n * gap * MS);
            let step = all.frame(data, h.source, h.destination, &hex(text), time, 1);
            messages.extend(step.message);
            cut.extend(step.cut);
        }
        (messages, cut)
    }

    const EX_3V: [(u32, &str); 3] = [
        (0x1CEC_FF0B, "20 0E 00 02 FF CA FE 00"),
        (0x1CEB_FF0B, "01 04 FF D3 07 09 01 7F"),
        (0x1CEB_FF0B, "02 02 09 05 CF 04 13 02"),
    ];

    #[test]
    fn ex_3v_codes_by_broadcast() {
        let (messages, cut) = run(&EX_3V, 60);
        assert_eq!((messages.len(), cut), (1, vec![]));
        assert_eq!(messages[0].group, trouble::ACTIVE);
        let list = trouble::trouble_list(&messages[0].payload).unwrap();
        let found: Vec<_> = list.codes.iter().map(|(c, n)| (c.spn, c.fmi, n.unwrap())).collect();
        assert_eq!(found, [(2003, 9, 1), (639, 9, 5), (1231, 19, 2)]);
    }

    #[test]
    fn ex_3w_a_broadcast_that_is_cut_gives_nothing() {
        assert_eq!(run(&EX_3V, 800), (vec![], vec![trouble::ACTIVE]));
        assert_eq!(run(&[EX_3V[0], EX_3V[2]], 60), (vec![], vec![trouble::ACTIVE]));
        let mut all = Transport::default();
        all.frame(false, 11, 255, &hex(EX_3V[0].1), Instant(0), 1);
        assert!(all.expire(Instant(700 * MS)).is_empty());
        assert_eq!(all.expire(Instant(760 * MS)), [(11, trouble::ACTIVE)]);
    }

    #[test]
    fn ex_3x_packets_must_fit_the_size() {
        for (size, packets, taken) in [
            (9u16, 2u8, true),
            (14, 2, true),
            (15, 3, true),
            (1785, 255, true),
            (14, 3, false),
            (8, 2, false),
            (1786, 255, false),
        ] {
            let mut all = Transport::default();
            let [low, high] = size.to_le_bytes();
            let bytes = [0x20, low, high, packets, 0xFF, 0xCA, 0xFE, 0x00];
            all.frame(false, 11, 255, &bytes, Instant(0), 1);
            assert_eq!(all.held(), (usize::from(taken), 0), "{size} in {packets}");
        }
    }

    #[test]
    fn a_connection_may_ask_for_packets_again() {
        let (messages, cut) = run(
            &[
                (0x18EC_F90B, "10 0E 00 02 FF CB FE 00"),
                (0x18EC_0BF9, "11 02 01 FF FF CB FE 00"),
                (0x18EB_F90B, "01 04 FF D3 07 09 01 7F"),
                (0x18EC_0BF9, "11 02 01 FF FF CB FE 00"),
                (0x18EB_F90B, "01 04 FF D3 07 09 01 7F"),
                (0x18EB_F90B, "02 02 09 05 CF 04 13 02"),
                (0x18EC_0BF9, "13 0E 00 02 FF CB FE 00"),
            ],
            100,
        );
        assert_eq!((messages.len(), cut), (1, vec![]));
        assert_eq!((messages[0].group, messages[0].payload.len()), (trouble::PREVIOUS, 14));
        let (messages, cut) = run(
            &[
                (0x18EC_F90B, "10 0E 00 02 FF CB FE 00"),
                (0x18EC_0BF9, "FF 02 FF FF FF CB FE 00"),
                (0x18EB_F90B, "01 04 FF D3 07 09 01 7F"),
            ],
            100,
        );
        assert_eq!((messages.len(), cut), (0, vec![trouble::PREVIOUS]));
    }

    proptest! {
        #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

        #[test]
        fn no_frames_make_it_panic_or_grow(
            frames in prop::collection::vec(
                (any::<bool>(), any::<u8>(), any::<u8>(), prop::collection::vec(any::<u8>(), 0..9), any::<i64>()), 0..300)
        ) {
            let mut all = Transport::default();
            for (data, source, destination, bytes, time) in frames {
                all.frame(data, source, destination, &bytes, Instant(time), 1);
                let (open, held) = all.held();
                prop_assert!(open <= MOST_TRANSFERS && held <= open * 1785);
            }
        }

        #[test]
        fn broadcasts_survive_any_interleaving(
            payloads in prop::collection::vec(prop::collection::vec(any::<u8>(), 9..200), 1..6),
            order in prop::collection::vec(any::<prop::sample::Index>(), 200),
        ) {
            let mut all = Transport::default();
            let mut got = vec![None; payloads.len()];
            let mut at = vec![0usize; payloads.len()];
            let mut order = order.into_iter().cycle();
            loop {
                let busy: Vec<usize> =
                    (0..at.len()).filter(|n| at[*n] <= payloads[*n].len().div_ceil(7)).collect();
                let (Some(pick), false) = (order.next(), busy.is_empty()) else { break };
                let n = busy[pick.index(busy.len())];
                let payload = &payloads[n];
                let packets = payload.len().div_ceil(7);
                let mut frame = [0xFFu8; 8];
                if at[n] == 0 {
                    let [low, high] = u16::try_from(payload.len()).unwrap().to_le_bytes();
                    frame = [0x20, low, high, low_byte(packets), 0xFF, 0xCA, 0xFE, 0];
                } else {
                    frame[0] = low_byte(at[n]);
                    let piece = &payload[(at[n] - 1) * 7..payload.len().min(at[n] * 7)];
                    frame[1..=piece.len()].copy_from_slice(piece);
                }
                let data = at[n] > 0;
                at[n] += 1;
                if let Some(m) = all.frame(data, low_byte(n), ALL, &frame, Instant(0), 1).message {
                    got[n] = Some(m.payload);
                }
            }
            prop_assert_eq!(got, payloads.into_iter().map(Some).collect::<Vec<_>>());
        }
    }
}
