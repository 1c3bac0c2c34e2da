//! Tests of the door.

use super::opening::*;
use crate::read::account::Account;
use crate::read::recognising::Kind;
use crate::vocabulary::{Place, Reject};
use flate2::{Compression, write::GzEncoder};
use std::io;
use std::io::Write;
use std::path::Path;

fn gzip(bytes: &[u8]) -> Vec<u8> {
    let mut packer = GzEncoder::new(Vec::new(), Compression::fast());
    packer.write_all(bytes).unwrap();
    packer.finish().unwrap()
}

fn opened(bytes: Vec<u8>) -> Result<Opened, Reject> {
    let size = bytes.len() as u64;
    unpack(Box::new(io::Cursor::new(bytes)), size, &"f".into())
}

fn whole(opened: Opened) -> (String, Account) {
    let mut account = opened.account;
    let bytes = read_whole(opened.bytes, &opened.name, &mut account);
    (String::from_utf8(bytes).unwrap(), account)
}

#[test]
fn plain_packed_and_packed_twice_read_the_same() {
    let text = b"(1.5) can0 1A0#00\n";
    let zst = zstd::encode_all(&text[..], 1).unwrap();
    let two_members = [gzip(text), gzip(text)].concat();
    for (bytes, packings, times) in [
        (text.to_vec(), vec![], 1),
        (gzip(text), vec!["gzip"], 1),
        (zst.clone(), vec!["zstd"], 1),
        (gzip(&zst), vec!["gzip", "zstd"], 1),
        (two_members, vec!["gzip"], 2),
    ] {
        let opened = opened(bytes).unwrap();
        assert_eq!(opened.kind, Kind::BusLogText);
        assert_eq!(opened.packings, packings);
        assert_eq!(whole(opened).0.as_bytes(), text.repeat(times));
    }
}

#[test]
fn packed_three_times_is_refused() {
    let reject = opened(gzip(&gzip(&gzip(b"x")))).err().unwrap();
    assert!(reject.reason.contains("more than 2 times"), "{}", reject.reason);
}

#[test]
fn a_byte_order_mark_is_dropped_and_counted() {
    let (text, account) = whole(opened(b"\xEF\xBB\xBF{}".to_vec()).unwrap());
    assert_eq!(text, "{}");
    assert_eq!(account.leniencies["byte order mark skipped"], 1);
}

#[test]
fn a_cut_gzip_file_gives_what_came_before() {
    let text: String = (0..40_000).map(|i| format!("{i} {}\n", i * 7919 % 10_007)).collect();
    let packed = gzip(text.as_bytes());
    let opened = opened(packed[..packed.len() / 2].to_vec()).unwrap();
    let (read, account) = whole(opened);
    assert!(read.len() > 100_000 && text.starts_with(&read));
    let reject = &account.rejects[0];
    assert_eq!(reject.place, Place::byte(&"f".into(), read.len() as u64));
    assert!(reject.reason.contains("gzip data break off after"), "{}", reject.reason);
}

/// A zstd frame by RFC 8878 whose blocks each repeat one byte 131,071 times.
fn zstd_bomb(blocks: usize) -> Vec<u8> {
    let mut bytes = vec![0x28, 0xB5, 0x2F, 0xFD, 0x00, 0x38];
    for block in 0..blocks {
        let header = (131_071u32 << 3) | (1 << 1) | u32::from(block + 1 == blocks);
        bytes.extend_from_slice(&header.to_le_bytes()[..3]);
        bytes.push(b'x');
    }
    bytes
}

#[test]
fn what_unpacks_to_far_too_much_breaks_off() {
    // 40 kB that would unpack to 1.3 GB, more than a gigabyte and a thousand times its size.
    let opened = opened(zstd_bomb(10_000)).unwrap();
    let (mut bytes, mut piece, mut given) = (opened.bytes, vec![0u8; 1 << 20], 0u64);
    let error = loop {
        match bytes.read(&mut piece) {
            Ok(0) => panic!("all {given} bytes were given"),
            Ok(count) => given += count as u64,
            Err(error) => break error.to_string(),
        }
    };
    let most = UNPACKED_AT_LEAST + 1000 * 40_006;
    assert!(given > most && given <= most + (1 << 20), "{given} bytes given");
    assert!(error.contains("far more than a log of this size holds"), "{error}");
}

#[test]
fn a_header_that_claims_much_costs_nothing() {
    // Single segment, a content size of eight bytes: 4 GiB claimed, 17 bytes held.
    let text = b"(1.5) can0 1A0#00";
    let mut bytes = vec![0x28, 0xB5, 0x2F, 0xFD, 0xE0];
    bytes.extend_from_slice(&(4u64 << 30).to_le_bytes());
    bytes.extend_from_slice(&(17u32 << 3 | 1).to_le_bytes()[..3]);
    bytes.extend_from_slice(text);
    let reject = opened(bytes).err().unwrap();
    assert!(reject.reason.contains("break off after 0 unpacked bytes"), "{}", reject.reason);
}

#[test]
fn nothing_in_it() {
    let reason = |bytes: Vec<u8>| opened(bytes).unwrap().refusal("a table").reason;
    assert_eq!(reason(vec![]), "empty file, expected a table");
    assert_eq!(reason(gzip(b"")), "gzip file with nothing in it, expected a table");
    let cut = opened(gzip(b"some text")[..6].to_vec()).err().unwrap();
    assert!(cut.reason.contains("after 0 unpacked bytes"), "{}", cut.reason);
}

#[test]
fn missing_files_and_folders_say_so() {
    let folder = tempfile::tempdir().unwrap();
    let name = "x".into();
    let reason = |path: &Path| open(path, &name).err().unwrap().reason;
    assert!(reason(&folder.path().join("none")).starts_with("cannot open the file"));
    assert!(reason(folder.path()).contains("folder"));
}
