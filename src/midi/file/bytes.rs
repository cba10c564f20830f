//! Numbers and marks in bytes, looked up without trust.

pub(super) fn u16_at(bytes: &[u8], at: usize) -> Option<u16> {
    let b = bytes.get(at..at.checked_add(2)?)?;
    Some(u16::from_be_bytes(b.try_into().ok()?))
}

pub(super) fn u32_at(bytes: &[u8], at: usize) -> Option<u32> {
    let b = bytes.get(at..at.checked_add(4)?)?;
    Some(u32::from_be_bytes(b.try_into().ok()?))
}

pub(super) fn find(bytes: &[u8], from: usize, what: &[u8; 4]) -> Option<usize> {
    bytes
        .get(from..)?
        .windows(4)
        .position(|w| w == what)
        .map(|i| from + i)
}

pub(super) fn starts(bytes: &[u8], at: usize, what: &[u8]) -> bool {
    bytes.get(at..).is_some_and(|b| b.starts_with(what))
}
