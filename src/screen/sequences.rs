//! What a terminal sends, byte by byte, as events: keys, the mouse, focus.
//!
//! crossterm's own parser waits for the rest of a sequence that was broken off, and takes
//! every key for it until it comes. This one gives an unfinished sequence up when it is
//! told that nothing follows ([`Sequences::give_up`]), and Ctrl-C gets through whatever
//! stands before it.
//!
//! Read are control sequences as ECMA-48 builds them (5.4: parameters, intermediate bytes,
//! a final byte), with the meanings of xterm's "ctlseqs": keys with modifiers, mouse
//! reports in the forms of X10 and SGR (mode 1006), focus (1004), bracketed paste (2004);
//! the function keys of the Linux console (console_codes(4)); and `CSI u` for a key with
//! modifiers. What is unknown is left out.

use ratatui::crossterm::event::{
    Event, KeyCode, KeyEvent, KeyEventKind, KeyModifiers, MouseButton, MouseEvent, MouseEventKind,
};

const ESC: u8 = 0x1b;
const CTRL_C: u8 = 0x03;
/// What ends a paste.
const PASTE_ENDS: &[u8] = b"\x1b[201~";
/// Maximum length of the sequence of a key or of the mouse, in bytes.
const LONGEST: usize = 64;

/// Bytes of a terminal on their way to becoming events.
#[derive(Clone, Debug, Default)]
pub(super) struct Sequences {
    state: State,
    /// The bytes of what has begun: parameters, a character, the end of a paste.
    held: Vec<u8>,
    events: Vec<Event>,
}

/// What has begun.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
enum State {
    #[default]
    Nothing,
    /// ESC: the key itself, or the beginning of more.
    Escape,
    /// ESC ESC: the key twice, or some terminals' Alt before a sequence.
    EscapeTwice,
    /// `ESC [`, and what is held.
    Control(KeyModifiers),
    /// `ESC O`, and what is held.
    Shift3(KeyModifiers),
    /// `ESC [ M`: a button and a place follow, a byte each.
    Mouse,
    /// `ESC [ [`: one letter follows.
    Console,
    /// A character of several bytes.
    Character(KeyModifiers),
    /// Everything up to its end is text that was pasted.
    Paste,
}

impl Sequences {
    /// Takes what has come, and gives the events that are complete.
    pub fn take(&mut self, bytes: &[u8]) -> Vec<Event> {
        bytes.iter().for_each(|&byte| self.byte(byte));
        std::mem::take(&mut self.events)
    }

    /// Whether something has begun that more bytes would end.
    pub fn is_unfinished(&self) -> bool {
        self.state != State::Nothing
    }

    /// Ends what has begun, as nothing follows. A key that is also the beginning of a sequence
    /// counts: Esc, Alt-[ and Alt-O.
    pub fn give_up(&mut self) -> Vec<Event> {
        let escape = (KeyCode::Esc, KeyModifiers::NONE);
        let alone = self.held.is_empty();
        match self.state {
            State::Escape => self.key(escape.0, escape.1),
            State::EscapeTwice => {
                self.key(escape.0, escape.1);
                self.key(escape.0, escape.1);
            }
            State::Control(_) if alone => self.character('[', KeyModifiers::ALT),
            State::Shift3(_) if alone => self.character('O', KeyModifiers::ALT),
            _ => {}
        }
        self.begin(State::Nothing);
        std::mem::take(&mut self.events)
    }

    fn begin(&mut self, state: State) {
        self.state = state;
        self.held.clear();
    }

    fn byte(&mut self, byte: u8) {
        if byte == CTRL_C {
            self.begin(State::Nothing);
            return self.plain(byte, KeyModifiers::NONE);
        }
        match self.state {
            State::Nothing => self.plain(byte, KeyModifiers::NONE),
            State::Escape => self.after_escape(byte),
            State::EscapeTwice => match byte {
                b'[' => self.begin(State::Control(KeyModifiers::ALT)),
                b'O' => self.begin(State::Shift3(KeyModifiers::ALT)),
                _ => {
                    self.key(KeyCode::Esc, KeyModifiers::NONE);
                    self.after_escape(byte);
                }
            },
            State::Control(held) => self.control(byte, held),
            State::Shift3(held) => match byte {
                b'0'..=b'9' | b';' if self.held.len() < LONGEST => self.held.push(byte),
                b'A'..=b'Z' => {
                    let modifiers = Parameters::of(&self.held).last_modifiers(held);
                    self.begin(State::Nothing);
                    match byte {
                        b'M' => self.key(KeyCode::Enter, modifiers.0),
                        _ => self.lettered(byte, modifiers),
                    }
                }
                _ => self.again(byte),
            },
            State::Mouse => match byte {
                32.. => {
                    self.held.push(byte);
                    if let [button, column, row] = self.held[..] {
                        self.begin(State::Nothing);
                        let from_one = |b: u8| u16::from(b - 32);
                        self.mouse(
                            button - 32,
                            from_one(column),
                            from_one(row),
                            MouseEventKind::Down,
                        );
                    }
                }
                _ => self.again(byte),
            },
            State::Console => match byte {
                b'A'..=b'E' => {
                    self.begin(State::Nothing);
                    self.key(KeyCode::F(1 + byte - b'A'), KeyModifiers::NONE);
                }
                _ => self.again(byte),
            },
            State::Character(held) => match byte {
                0x80..=0xbf => {
                    self.held.push(byte);
                    let whole = self.held.first().map_or(0, |&first| length(first));
                    if self.held.len() >= whole {
                        let text = std::str::from_utf8(&self.held).ok();
                        let c = text.and_then(|t| t.chars().next());
                        self.begin(State::Nothing);
                        if let Some(c) = c {
                            self.character(c, held);
                        }
                    }
                }
                _ => self.again(byte),
            },
            State::Paste => {
                if self.held.len() == PASTE_ENDS.len() {
                    self.held.remove(0);
                }
                self.held.push(byte);
                if self.held == PASTE_ENDS {
                    self.begin(State::Nothing);
                }
            }
        }
    }

    /// What has begun is broken off by a byte that cannot belong to it.
    fn again(&mut self, byte: u8) {
        self.begin(State::Nothing);
        self.plain(byte, KeyModifiers::NONE);
    }

    fn after_escape(&mut self, byte: u8) {
        match byte {
            b'[' => self.begin(State::Control(KeyModifiers::NONE)),
            b'O' => self.begin(State::Shift3(KeyModifiers::NONE)),
            ESC => self.begin(State::EscapeTwice),
            _ => {
                self.begin(State::Nothing);
                self.plain(byte, KeyModifiers::ALT);
            }
        }
    }

    /// A byte that stands for itself, or begins something.
    fn plain(&mut self, byte: u8, held: KeyModifiers) {
        let control = held | KeyModifiers::CONTROL;
        match byte {
            ESC => self.begin(State::Escape),
            b'\r' => self.key(KeyCode::Enter, held),
            b'\t' => self.key(KeyCode::Tab, held),
            0x7f => self.key(KeyCode::Backspace, held),
            0 => self.key(KeyCode::Char(' '), control),
            0x01..=0x1a => self.key(KeyCode::Char(char::from(byte - 1 + b'a')), control),
            0x1c..=0x1f => self.key(KeyCode::Char(char::from(byte - 0x1c + b'4')), control),
            b' '..=b'~' => self.character(char::from(byte), held),
            // The first byte of a character; others are no beginning, and are left out.
            0xc2..=0xf4 => {
                self.begin(State::Character(held));
                self.held.push(byte);
            }
            0x80.. => {}
        }
    }

    /// A byte after `ESC [`.
    fn control(&mut self, byte: u8, held: KeyModifiers) {
        match byte {
            b'[' if self.held.is_empty() => self.begin(State::Console),
            b'M' if self.held.is_empty() => self.begin(State::Mouse),
            b' '..=b'?' if self.held.len() < LONGEST => self.held.push(byte),
            b'@'..=b'~' => {
                let inside = std::mem::take(&mut self.held);
                self.begin(State::Nothing);
                self.complete(&inside, byte, held);
            }
            _ => self.again(byte),
        }
    }

    /// A whole control sequence: what stands between `ESC [` and its last byte, and that.
    fn complete(&mut self, inside: &[u8], last: u8, held: KeyModifiers) {
        if let Some(report) = inside.strip_prefix(b"<") {
            let all = Parameters::of(report);
            if let ([button, column, row], b'M' | b'm') = (all.numbers(), last)
                && let Ok(button) = u8::try_from(*button)
            {
                let how = match last {
                    b'm' => MouseEventKind::Up,
                    _ => MouseEventKind::Down,
                };
                self.mouse(button, *column, *row, how);
            }
            return;
        }
        let all = Parameters::of(inside);
        let first = all.number(0);
        match last {
            b'~' => match (first, all.number(1), all.number(2)) {
                (Some(200), ..) => self.begin(State::Paste),
                // As xterm says a key that has no sequence of its own: modifiers, then the
                // character.
                (Some(27), Some(mask), Some(c)) => {
                    self.coded(c, (modifiers(mask, held), KeyEventKind::Press));
                }
                (Some(number), ..) => {
                    if let Some(code) = numbered(number) {
                        self.pressed(code, all.modifiers(held));
                    }
                }
                (None, ..) => {}
            },
            b'u' => {
                if let Some(c) = first {
                    self.coded(c, all.modifiers(held));
                }
            }
            b'I' if inside.is_empty() => self.events.push(Event::FocusGained),
            b'O' if inside.is_empty() => self.events.push(Event::FocusLost),
            // A place of the cursor looks like this, too; nobody has asked for it.
            b'R' if first.is_some_and(|n| n != 1) => {}
            _ => self.lettered(last, all.last_modifiers(held)),
        }
    }

    /// A key that a letter stands for.
    fn lettered(&mut self, letter: u8, (held, kind): (KeyModifiers, KeyEventKind)) {
        let code = match letter {
            b'A' => KeyCode::Up,
            b'B' => KeyCode::Down,
            b'C' => KeyCode::Right,
            b'D' => KeyCode::Left,
            b'F' => KeyCode::End,
            b'H' => KeyCode::Home,
            b'P'..=b'S' => KeyCode::F(1 + letter - b'P'),
            b'Z' => {
                return self.pressed(KeyCode::BackTab, (held | KeyModifiers::SHIFT, kind));
            }
            _ => return,
        };
        self.pressed(code, (held, kind));
    }

    /// A key that the number of a character stands for.
    fn coded(&mut self, number: u16, (held, kind): (KeyModifiers, KeyEventKind)) {
        let code = match number {
            9 if held.contains(KeyModifiers::SHIFT) => KeyCode::BackTab,
            9 => KeyCode::Tab,
            13 => KeyCode::Enter,
            27 => KeyCode::Esc,
            8 | 127 => KeyCode::Backspace,
            // Here some terminals put keys without a character.
            0..32 | 0xe000..=0xf8ff => return,
            number => match char::from_u32(number.into()) {
                Some(c) if held.contains(KeyModifiers::SHIFT) => {
                    let mut large = c.to_uppercase();
                    let one = large.next().filter(|_| large.next().is_none());
                    KeyCode::Char(one.unwrap_or(c))
                }
                Some(c) => KeyCode::Char(c),
                None => return,
            },
        };
        self.pressed(code, (held, kind));
    }

    fn character(&mut self, c: char, mut held: KeyModifiers) {
        held.set(KeyModifiers::SHIFT, c.is_uppercase());
        self.key(KeyCode::Char(c), held);
    }

    fn key(&mut self, code: KeyCode, held: KeyModifiers) {
        self.pressed(code, (held, KeyEventKind::Press));
    }

    fn pressed(&mut self, code: KeyCode, (held, kind): (KeyModifiers, KeyEventKind)) {
        let event = KeyEvent::new_with_kind(code, held, kind);
        self.events.push(Event::Key(event));
    }

    /// A report of the mouse: the button's number with its modifiers, the place, counted from
    /// one, and what happened to a button that is not dragged.
    fn mouse(&mut self, button: u8, column: u16, row: u16, how: fn(MouseButton) -> MouseEventKind) {
        let moves = button & 32 != 0;
        let pressed = match button & 3 {
            0 => Some(MouseButton::Left),
            1 => Some(MouseButton::Middle),
            2 => Some(MouseButton::Right),
            _ => None,
        };
        let kind = match (button >> 6, pressed) {
            (0, Some(button)) if moves => MouseEventKind::Drag(button),
            (0, Some(button)) => how(button),
            (0, None) if moves => MouseEventKind::Moved,
            // The form of X10 does not say which.
            (0, None) => MouseEventKind::Up(MouseButton::Left),
            (1, _) => match button & 3 {
                0 => MouseEventKind::ScrollUp,
                1 => MouseEventKind::ScrollDown,
                2 => MouseEventKind::ScrollLeft,
                _ => MouseEventKind::ScrollRight,
            },
            _ => return,
        };
        let mut held = KeyModifiers::NONE;
        held.set(KeyModifiers::SHIFT, button & 4 != 0);
        held.set(KeyModifiers::ALT, button & 8 != 0);
        held.set(KeyModifiers::CONTROL, button & 16 != 0);
        self.events.push(Event::Mouse(MouseEvent {
            kind,
            column: column.saturating_sub(1),
            row: row.saturating_sub(1),
            modifiers: held,
        }));
    }
}

/// Bytes of the character that begins with this one.
fn length(first: u8) -> usize {
    match first {
        0xc2..=0xdf => 2,
        0xe0..=0xef => 3,
        _ => 4,
    }
}

/// A key that a number stands for, before `~`.
fn numbered(number: u16) -> Option<KeyCode> {
    let f = |n: u16| u8::try_from(n).ok().map(KeyCode::F);
    match number {
        1 | 7 => Some(KeyCode::Home),
        2 => Some(KeyCode::Insert),
        3 => Some(KeyCode::Delete),
        4 | 8 => Some(KeyCode::End),
        5 => Some(KeyCode::PageUp),
        6 => Some(KeyCode::PageDown),
        11..=15 => f(number - 10),
        17..=21 => f(number - 11),
        23..=26 => f(number - 12),
        28 | 29 => f(number - 15),
        31..=34 => f(number - 17),
        _ => None,
    }
}

/// What is held by a number, one more than the sum of 1 for Shift, 2 for Alt, 4 for Control, and
/// `held`.
fn modifiers(mask: u16, held: KeyModifiers) -> KeyModifiers {
    let bits = mask.saturating_sub(1);
    let mut all = held;
    for (bit, key) in [
        (1, KeyModifiers::SHIFT),
        (2, KeyModifiers::ALT),
        (4, KeyModifiers::CONTROL),
    ] {
        if bits & bit != 0 {
            all |= key;
        }
    }
    all
}

/// Numbers between semicolons, each perhaps with another after a colon. More than these
/// say nothing here.
struct Parameters {
    numbers: [u16; 3],
    /// The second one's after a colon: whether the key is pressed, repeats or is let go.
    kind: Option<u16>,
    count: usize,
}

impl Parameters {
    fn of(bytes: &[u8]) -> Parameters {
        let mut all = Parameters {
            numbers: [0; 3],
            kind: None,
            count: 0,
        };
        if bytes.is_empty() {
            return all;
        }
        let number = |digits: &[u8]| -> u16 {
            let digits = digits.iter().filter(|b| b.is_ascii_digit());
            digits.fold(0u16, |n, b| {
                n.saturating_mul(10).saturating_add(u16::from(b - b'0'))
            })
        };
        for (i, part) in bytes.split(|&b| b == b';').enumerate() {
            let mut parts = part.split(|&b| b == b':');
            if let (Some(place), Some(first)) = (all.numbers.get_mut(i), parts.next()) {
                *place = number(first);
                all.count = i + 1;
            }
            if i == 1 {
                all.kind = parts.next().map(number);
            }
        }
        all
    }

    fn numbers(&self) -> &[u16] {
        &self.numbers[..self.count]
    }

    fn number(&self, at: usize) -> Option<u16> {
        self.numbers().get(at).copied()
    }

    /// What the second one says, and `held`.
    fn modifiers(&self, held: KeyModifiers) -> (KeyModifiers, KeyEventKind) {
        let kind = match self.kind {
            Some(2) => KeyEventKind::Repeat,
            Some(3) => KeyEventKind::Release,
            _ => KeyEventKind::Press,
        };
        (modifiers(self.number(1).unwrap_or(1), held), kind)
    }

    /// What the second one says; where there is one alone, that.
    fn last_modifiers(&self, held: KeyModifiers) -> (KeyModifiers, KeyEventKind) {
        match self.numbers() {
            [only] => (modifiers(*only, held), KeyEventKind::Press),
            _ => self.modifiers(held),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::screen::keys::{self, Key};
    use proptest::prelude::*;

    fn read(bytes: &[u8]) -> Vec<Event> {
        let mut sequences = Sequences::default();
        let mut events = sequences.take(bytes);
        events.extend(sequences.give_up());
        assert!(!sequences.is_unfinished());
        events
    }

    /// The keys as the settings would write them.
    fn told(bytes: &[u8]) -> String {
        let keys: Vec<String> = read(bytes)
            .iter()
            .filter_map(keys::pressed)
            .map(|key| key.to_string())
            .collect();
        keys.join(" ")
    }

    #[test]
    fn keys_are_told_as_xterm_sends_them() {
        for (bytes, want) in [
            (&b"q"[..], "q"),
            (b"Z", "Z"),
            (b" ", "Space"),
            (b"\r", "Enter"),
            (b"\n", "Ctrl-J"),
            (b"\t", "Tab"),
            (b"\x7f", "Backspace"),
            (b"\x08", "Ctrl-H"),
            (b"\x00", "Ctrl-Space"),
            (b"\x01\x1a", "Ctrl-A Ctrl-Z"),
            (b"\x1c", "Ctrl-4"),
            ("é♭🎹".as_bytes(), "é ♭ 🎹"),
            (b"\x1b", "Esc"),
            (b"\x1b\x1b", "Esc Esc"),
            (b"\x1b\x1b\x1b", "Esc Esc Esc"),
            (b"\x1bx", "Alt-x"),
            (b"\x1bX", "Alt-X"),
            (b"\x1b\r", "Alt-Enter"),
            (b"\x1b\x01", "Ctrl-Alt-A"),
            ("\x1bé".as_bytes(), "Alt-é"),
            (b"\x1b[", "Alt-["),
            (b"\x1bO", "Alt-O"),
            (b"\x1b[A\x1b[B\x1b[C\x1b[D", "Up Down Right Left"),
            (b"\x1bOA\x1bOB\x1bOC\x1bOD", "Up Down Right Left"),
            (b"\x1b[H\x1b[F\x1bOH\x1bOF", "Home End Home End"),
            (b"\x1b[1;5C", "Ctrl-Right"),
            (
                b"\x1b[1;2A\x1b[1;3B\x1b[1;8D",
                "Shift-Up Alt-Down Ctrl-Alt-Shift-Left",
            ),
            (b"\x1b[5A", "Ctrl-Up"),
            (b"\x1b\x1b[A", "Alt-Up"),
            (b"\x1b\x1bOP", "Alt-F1"),
            (b"\x1b[Z", "Shift-Tab"),
            (
                b"\x1b[2~\x1b[3~\x1b[5~\x1b[6~",
                "Insert Delete PageUp PageDown",
            ),
            (b"\x1b[1~\x1b[4~\x1b[7~\x1b[8~", "Home End Home End"),
            (b"\x1b[3;5~", "Ctrl-Delete"),
            (b"\x1bOP\x1bOQ\x1bOR\x1bOS", "F1 F2 F3 F4"),
            (b"\x1b[1;2P\x1b[1;5R", "Shift-F1 Ctrl-F3"),
            (
                b"\x1b[11~\x1b[15~\x1b[17~\x1b[21~\x1b[23~\x1b[24~",
                "F1 F5 F6 F10 F11 F12",
            ),
            (b"\x1b[[A\x1b[[E", "F1 F5"),
            (b"\x1b[97u\x1b[97;5u\x1b[97;2u", "a Ctrl-A A"),
            (b"\x1b[27u\x1b[13;5u\x1b[9;2u", "Esc Ctrl-Enter Shift-Tab"),
            (b"\x1b[27;5;13~", "Ctrl-Enter"),
            // Let go, it is no key; unknown, nothing at all.
            (b"\x1b[97;1:3u", ""),
            (b"\x1b[1;1:2A", "Up"),
            (b"\x1b[12;40R", ""),
            (b"\x1b[?62;4c", ""),
            (b"\x1b[99~\x1b[57358u", ""),
            (b"\xff\xc0\x80q", "q"),
        ] {
            assert_eq!(told(bytes), want, "{:?}", bytes.escape_ascii().to_string());
        }
    }

    #[test]
    fn what_is_pasted_is_left_out() {
        assert_eq!(told(b"a\x1b[200~q\x1b[Aq\rn\x1b[201~b"), "a b");
        assert_eq!(told(b"\x1b[200~\x1b[201\x1b[201~b"), "b");
    }

    #[test]
    fn the_mouse_is_told_in_both_forms() {
        let mouse = |bytes: &[u8]| -> Vec<(MouseEventKind, KeyModifiers, u16, u16)> {
            let events = read(bytes).into_iter();
            let mouse = events.map(|e| match e {
                Event::Mouse(m) => (m.kind, m.modifiers, m.column, m.row),
                other => panic!("{other:?}"),
            });
            mouse.collect()
        };
        use MouseEventKind::{Down, Drag, Moved, ScrollDown, ScrollUp, Up};
        let (none, left) = (KeyModifiers::NONE, MouseButton::Left);
        let both = b"\x1b[<0;12;3M\x1b[<0;12;3m";
        assert_eq!(
            mouse(both),
            [(Down(left), none, 11, 2), (Up(left), none, 11, 2)]
        );
        assert_eq!(
            mouse(b"\x1b[<64;1;1M\x1b[<69;300;2M\x1b[<80;1;1M"),
            [
                (ScrollUp, none, 0, 0),
                (ScrollDown, KeyModifiers::SHIFT, 299, 1),
                (ScrollUp, KeyModifiers::CONTROL, 0, 0),
            ]
        );
        assert_eq!(
            mouse(b"\x1b[<32;5;5M\x1b[<35;5;5M"),
            [(Drag(left), none, 4, 4), (Moved, none, 4, 4)]
        );
        assert_eq!(
            mouse(b"\x1b[M !\"\x1b[M#\xff!\x1b[M`!!"),
            [
                (Down(left), none, 0, 1),
                (Up(left), none, 222, 0),
                (ScrollUp, none, 0, 0),
            ]
        );
        assert_eq!(read(b"\x1b[<0;1M\x1b[<900;1;1M\x1b[<0;1;1;1x"), []);
    }

    #[test]
    fn focus_is_told() {
        assert_eq!(
            read(b"\x1b[I\x1b[O"),
            [Event::FocusGained, Event::FocusLost]
        );
    }

    /// The four that have made every key dead, and others.
    const BROKEN: [&[u8]; 12] = [
        b"\x1b[",
        b"\x1b[<0;1;",
        b"\x1b[200~some words",
        b"\xc3",
        b"\x1b",
        b"\x1bO",
        b"\x1b\x1b[1;",
        b"\x1b[M !",
        b"\x1b[[",
        b"\xf0\x9f\x8e",
        b"\x1b\xe2\x99",
        b"\x1b[200~\x1b[201",
    ];

    #[test]
    fn control_c_gets_through_whatever_stands_before_it() {
        for broken in BROKEN {
            let mut sequences = Sequences::default();
            let _ = sequences.take(broken);
            assert!(sequences.is_unfinished(), "{broken:?}");
            let events = sequences.take(b"\x03");
            let last = events.last().and_then(keys::pressed);
            assert_eq!(last, Some(keys::QUITS), "{broken:?}");
        }
    }

    #[test]
    fn what_is_broken_off_is_given_up() {
        for broken in BROKEN {
            let mut sequences = Sequences::default();
            let _ = sequences.take(broken);
            let _ = sequences.give_up();
            let events = sequences.take(b"q");
            let keys: Vec<Key> = events.iter().filter_map(keys::pressed).collect();
            let q: Key = "q".parse().expect("a key");
            assert_eq!(keys, [q], "{broken:?}");
        }
    }

    /// Bytes that are likelier than others to begin or end something.
    fn bytes() -> impl Strategy<Value = Vec<u8>> {
        let some = prop::sample::select(b"\x1b\x1b[[O<;:0123456789MmAZ~uq \xc3\xe2\x03".to_vec());
        prop::collection::vec(prop_oneof![some, any::<u8>()], 0..40)
    }

    proptest! {
        #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

        /// However the bytes are cut, they are the same events.
        #[test]
        fn a_sequence_may_come_in_pieces(bytes in bytes(), cuts in prop::collection::vec(0..40usize, 0..6)) {
            let whole = Sequences::default().take(&bytes);
            let mut sequences = Sequences::default();
            let mut events = Vec::new();
            let mut cuts: Vec<usize> = cuts.into_iter().map(|c| c.min(bytes.len())).collect();
            cuts.extend([0, bytes.len()]);
            cuts.sort_unstable();
            for pair in cuts.windows(2) {
                events.extend(sequences.take(&bytes[pair[0]..pair[1]]));
            }
            prop_assert_eq!(events, whole);
        }

        /// Nothing makes the keys after it dead, and nothing is kept without end.
        #[test]
        fn no_bytes_make_the_keys_dead(bytes in bytes()) {
            let mut sequences = Sequences::default();
            let _ = sequences.take(&bytes);
            prop_assert!(sequences.held.len() <= LONGEST);
            let mut at_once = sequences.clone();
            let quits = at_once.take(b"\x03").last().and_then(keys::pressed);
            prop_assert_eq!(quits, Some(keys::QUITS));
            let _ = sequences.give_up();
            prop_assert!(!sequences.is_unfinished());
            let q = sequences.take(b"q");
            prop_assert_eq!(q.iter().filter_map(keys::pressed).map(|k| k.to_string()).collect::<Vec<_>>(), ["q"]);
        }
    }
}
