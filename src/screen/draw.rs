//! The whole picture: which panel is drawn where. It changes nothing; what it finds out for
//! the keys and the mouse is returned.

use super::layout::{self, Places, SMALLEST, Way};
use super::look::Look;
use super::panels::{
    beside, brightness, chord, evidence, heard_lately, help, here, history, lanes, leaning, piano,
    relatives, scale, sittings, status,
};
use super::pen::{Pen, columns};
use super::picture::Picture;
use super::timeline;
use super::view::{Drawn, View};
use crate::engine::History;
use crate::theory::{SpelledTonality, Tonality};
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;

/// Draws everything into the buffer, which is empty before. The view has followed the
/// picture already ([`View::follow`]).
pub(super) fn draw(buf: &mut Buffer, picture: &Picture, view: &View, look: &Look) -> Drawn {
    let area = buf.area;
    buf.set_style(area, look.styles().ground());
    // The history would give the answer away.
    let nothing = History::default();
    let history = if picture.hidden {
        &nothing
    } else {
        picture.history
    };
    let picture = &Picture {
        history,
        ..*picture
    };
    let places = layout::places(area, &view.wanted_in(picture));
    let past = match places {
        None => {
            too_small(buf, look);
            None
        }
        Some(p) => {
            let past = panels(buf, &p, picture, view, look);
            if let Some(listed) = picture.list {
                let height = area.height - sittings::BELOW;
                let mut pen = Pen::new(buf, Rect { height, ..area });
                sittings::draw(&mut pen, picture, listed, look);
            }
            bottom(buf, &p, picture, look);
            past
        }
    };
    let help_pages = match view.help.is_open() {
        true => help::draw(&mut Pen::new(buf, area), picture, &view.help, look),
        false => 0,
    };
    Drawn {
        places: places.unwrap_or_default(),
        past,
        list: sittings::rows(area),
        help_pages,
    }
}

/// Draws every panel that has a place.
fn panels(
    buf: &mut Buffer,
    p: &Places,
    picture: &Picture,
    view: &View,
    look: &Look,
) -> Option<timeline::Drawn> {
    here::draw(&mut Pen::new(buf, p.here), p.size, picture, look);
    let mut pen = Pen::new(buf, p.chord);
    chord::draw(&mut pen, p.size.chord, picture, &view.label, look);
    if !picture.hidden {
        names(buf, p, picture, view, look);
    }
    leaning::draw(&mut Pen::new(buf, p.leaning), picture, look);
    let mut pen = Pen::new(buf, p.piano);
    piano::draw(
        &mut pen,
        picture,
        view.lowest_key,
        look,
        view.degrees(picture),
    );
    let history = history::draw(&mut Pen::new(buf, p.history), picture, &view.history, look);
    let lanes = lanes::draw(&mut Pen::new(buf, p.lanes), picture, &view.lanes, look);
    lanes.or(history)
}

/// The lines at the bottom.
fn bottom(buf: &mut Buffer, p: &Places, picture: &Picture, look: &Look) {
    let above = p.notice.y.min(status::NOTICE - 1);
    let notice = Rect {
        y: p.notice.y - above,
        height: above + 1,
        ..p.notice
    };
    status::notice(&mut Pen::new(buf, notice), picture, look);
    status::draw(&mut Pen::new(buf, p.status), picture, look);
}

/// The panels that show nothing but names.
fn names(buf: &mut Buffer, p: &Places, picture: &Picture, view: &View, look: &Look) {
    heard_lately::draw(&mut Pen::new(buf, p.heard_lately), picture, view, look);
    let mut pen = Pen::new(buf, p.scale);
    match other(picture, view) {
        _ if p.scale.is_empty() => {}
        Some(other) => beside::draw(&mut pen, picture, other, &view.label, look),
        None => scale::draw(&mut pen, picture, &view.label, look),
    }
    brightness::draw(
        &mut Pen::new(buf, p.brightness),
        picture,
        view.compared,
        look,
    );
    relatives::draw(&mut Pen::new(buf, p.relatives), picture, look);
    let mut pen = Pen::new(buf, p.evidence);
    match (p.evidence.width, p.evidence.height) {
        (_, 0) => {}
        (40.., 6..) => evidence::panel(&mut pen, picture, look),
        _ => evidence::draw(&mut pen, picture, look),
    }
}

/// The tonality that the teacher compares with: the mode that was chosen, or home.
fn other(picture: &Picture, view: &View) -> Option<SpelledTonality> {
    if view.wanted.way != Way::Teaching {
        return None;
    }
    let reading = picture.reading;
    let within = reading.within()?;
    let parallel = |mode| SpelledTonality {
        tonality: Tonality {
            mode,
            ..within.tonality
        },
        ..within
    };
    let home = || reading.home.map(|h| h.spelled);
    let other = view.compared.map(parallel);
    let other = other.or_else(|| home().filter(|_| view.wanted.scale));
    other.filter(|o| o.tonality != within.tonality)
}

fn too_small(buf: &mut Buffer, look: &Look) {
    let area = buf.area;
    let mut pen = Pen::new(buf, area);
    let (w, h) = SMALLEST;
    let by = look.sign("×", "x");
    let texts = [
        format!(
            "Too small: Peregrinus needs {w}{by}{h}, this is {}{by}{}.",
            area.width, area.height
        ),
        format!("Too small: needs {w}{by}{h}"),
        format!("needs {w}{by}{h}"),
        format!("{w}{by}{h}"),
    ];
    let text = texts.iter().find(|t| columns(t) <= area.width);
    if let Some(text) = text {
        let x = (area.width - columns(text)) / 2;
        pen.put(x, area.height / 2, text, look.styles().text);
    } else {
        pen.put(0, area.height / 2, "!", look.styles().warning);
    }
}
