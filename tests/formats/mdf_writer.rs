//! Traffic written as MDF 4: sorted groups of data, error and remote frames, records with 64 data bytes,
//! time as a double of seconds; plain, deflated, or transposed and deflated.

use std::io::Write as _;

use flate2::Compression;
use flate2::write::ZlibEncoder;

use super::Wire;

/// How data blocks are packed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Packing {
    None,
    Deflate,
    Transposed,
}

/// Bytes of a record: time, bus, identifier, IDE, code, length, FD and ESI, 64 data bytes.
const RECORD: usize = 8 + 1 + 4 + 4 + 64;
/// Which frames belong to a group.
type Wanted = fn(&Wire) -> bool;
/// Unpacked bytes of a block; no whole number of records.
const BLOCK: usize = 10_000;

struct File(Vec<u8>);

impl File {
    fn block(&mut self, kind: &[u8; 2], links: &[u64], data: &[u8]) -> u64 {
        self.0.resize(self.0.len().next_multiple_of(8), 0);
        let at = self.0.len() as u64;
        let (count, length) = (links.len() as u64, (24 + 8 * links.len() + data.len()) as u64);
        self.0.extend([b"##".as_slice(), kind, &[0; 4]].concat());
        self.0.extend(length.to_le_bytes());
        self.0.extend(count.to_le_bytes());
        self.0.extend(links.iter().flat_map(|link| link.to_le_bytes()));
        self.0.extend(data);
        at
    }

    fn text(&mut self, words: &str) -> u64 {
        self.block(b"TX", &[], format!("{words}\0").as_bytes())
    }

    fn channel(&mut self, next: u64, name: &str, kind: (u8, u8, u8), at: u32, bits: u32) -> u64 {
        let name = self.text(name);
        let (kind, sync, form) = kind;
        let mut data = vec![kind, sync, form, u8::try_from(at % 8).expect("below 8")];
        data.extend((at / 8).to_le_bytes());
        data.extend(bits.to_le_bytes());
        data.resize(72, 0);
        self.block(b"CN", &[next, 0, name, 0, 0, 0, 0, 0], &data)
    }

    fn records(&mut self, bytes: &[u8], packing: Packing) -> u64 {
        if packing == Packing::None {
            return self.block(b"DT", &[], bytes);
        }
        let blocks: Vec<u64> = bytes.chunks(BLOCK).map(|part| self.packed(part, packing)).collect();
        let count = u32::try_from(blocks.len()).expect("few blocks").to_le_bytes();
        let length = (BLOCK as u64).to_le_bytes();
        let list = self.block(
            b"DL",
            &[&[0][..], &blocks].concat(),
            &[&[1, 0, 0, 0][..], &count, &length].concat(),
        );
        self.block(b"HL", &[list], &[1, 0, 1, 0, 0, 0, 0, 0])
    }

    fn packed(&mut self, part: &[u8], packing: Packing) -> u64 {
        let transposed = packing == Packing::Transposed;
        let laid_out: Vec<u8> = if transposed {
            let rows = part.len() / RECORD;
            let (matrix, behind) = part.split_at(rows * RECORD);
            let column = |c: usize| matrix.iter().skip(c).step_by(RECORD).copied();
            (0..RECORD).flat_map(column).chain(behind.iter().copied()).collect()
        } else {
            part.to_vec()
        };
        let mut packer = ZlibEncoder::new(Vec::new(), Compression::fast());
        packer.write_all(&laid_out).expect("packed");
        let small = packer.finish().expect("packed");
        let columns = if transposed { u32::try_from(RECORD).expect("small") } else { 0 };
        let head = [
            &b"DT"[..],
            &[u8::from(transposed), 0],
            &columns.to_le_bytes(),
            &(part.len() as u64).to_le_bytes(),
            &(small.len() as u64).to_le_bytes(),
            &small,
        ];
        self.block(b"DZ", &[], &head.concat())
    }
}

fn record(w: &Wire, start: i64) -> Vec<u8> {
    let codes = [0, 1, 2, 3, 4, 5, 6, 7, 8, 12, 16, 20, 24, 32, 48, 64];
    let code = codes.iter().position(|n| *n == w.stated()).expect("a length of CAN");
    // As a logger under SocketCAN writes them: bit 29 stays set.
    let id = if w.error { w.id | 0x2000_0000 } else { w.id };
    let mut bytes = ((w.nanos - start) as f64 / 1e9).to_le_bytes().to_vec();
    bytes.push(w.bus);
    bytes.extend(id.to_le_bytes());
    bytes.extend([u8::from(w.extended), u8::try_from(code).expect("below 16")]);
    bytes.extend([
        u8::try_from(w.data.len()).expect("64 at most"),
        u8::from(w.fd) | u8::from(w.esi) << 1,
    ]);
    bytes.extend(&w.data);
    bytes.resize(RECORD, 0);
    bytes
}

pub(crate) fn mdf(traffic: &[Wire], packing: Packing) -> Vec<u8> {
    let mut file = File(b"MDF     4.10    own     ".to_vec());
    file.0.resize(28, 0);
    file.0.extend(410u16.to_le_bytes());
    file.0.resize(64, 0);
    let start = traffic.first().map_or(0, |w| w.nanos / 1_000_000_000 * 1_000_000_000);
    let mut head = u64::try_from(start).expect("after 1970").to_le_bytes().to_vec();
    head.resize(32, 0);
    file.block(b"HD", &[0; 6], &head);
    let mut next = 0;
    let kinds: [(&str, Wanted); 3] = [
        ("CAN_RemoteFrame", |w| w.remote),
        ("CAN_ErrorFrame", |w| w.error),
        ("CAN_DataFrame", |w| !w.remote && !w.error),
    ];
    for (name, wanted) in kinds {
        let some: Vec<&Wire> = traffic.iter().filter(|w| wanted(w)).collect();
        let bytes: Vec<u8> = some.iter().flat_map(|w| record(w, start)).collect();
        let records = file.records(&bytes, packing);
        // Channels from the last to the first, as each links to the next.
        let (number, raw) = ((0, 0, 0), (0, 0, 10));
        let members = [
            ("DataBytes", raw, 136, 512),
            ("ESI", number, 129, 1),
            ("EDL", number, 128, 1),
            ("DataLength", number, 120, 8),
            ("DLC", number, 112, 8),
            ("IDE", number, 104, 8),
            ("ID", number, 72, 32),
            ("BusChannel", number, 64, 8),
        ];
        let mut member = 0;
        // Places are counted in bits.
        for (part, kind, at, bits) in members {
            member = file.channel(member, &format!("{name}.{part}"), kind, at, bits);
        }
        // The frame as a whole, composed of its members.
        let whole = file.text(name);
        let mut data = vec![0, 0, 10, 0, 8, 0, 0, 0];
        data.extend(u32::try_from((RECORD - 8) * 8).expect("small").to_le_bytes());
        data.resize(72, 0);
        let composed = file.block(b"CN", &[0, member, whole, 0, 0, 0, 0, 0], &data);
        let time = file.channel(composed, "time", (2, 1, 4), 0, 64);
        let mut group = [0u64.to_le_bytes(), (some.len() as u64).to_le_bytes()].concat();
        group.extend([6, 0, b'.', 0, 0, 0, 0, 0]);
        group.extend(u32::try_from(RECORD).expect("small").to_le_bytes());
        group.resize(32, 0);
        let group = file.block(b"CG", &[0, time, 0, 0, 0, 0], &group);
        next = file.block(b"DG", &[next, group, records, 0], &[0; 8]);
    }
    file.0[64 + 24..64 + 32].copy_from_slice(&next.to_le_bytes());
    file.0
}
