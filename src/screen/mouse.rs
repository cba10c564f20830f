//! What the mouse asks for, by where the panels were drawn last. It is never needed.

use super::keys::{Action, Direction, Zoom};
use super::timeline::Pointed;
use super::view::View;
use ratatui::crossterm::event::{KeyModifiers, MouseButton, MouseEvent, MouseEventKind};
use ratatui::layout::{Position, Rect};

/// What an event asks for, if anything.
pub(super) fn action(event: &MouseEvent, view: &View) -> Option<Action> {
    let press = event.kind == MouseEventKind::Down(MouseButton::Left);
    if view.help.is_open() {
        // It lies over everything.
        return press.then_some(Action::Close);
    }
    // One column beside a panel counts as well: the mouse is easily thrown against the edge
    // of the window.
    let within = |panel: &Rect| -> Option<Position> {
        let last = panel.right().checked_sub(1)?;
        let near = event
            .column
            .abs_diff(event.column.clamp(panel.left(), last))
            <= 1;
        let there = Position::new(event.column.clamp(panel.left(), last), event.row);
        (near && panel.contains(there)).then_some(there)
    };
    let past = [view.drawn.places.history, view.drawn.places.lanes];
    let there = past.iter().find_map(within)?;
    // Some terminals use the wheel with Ctrl, or with Shift, themselves.
    let zooms = KeyModifiers::CONTROL | KeyModifiers::SHIFT;
    let zooms = event.modifiers.intersects(zooms);
    match event.kind {
        MouseEventKind::ScrollUp if zooms => Some(Action::Zoom(Zoom::Nearer)),
        MouseEventKind::ScrollDown if zooms => Some(Action::Zoom(Zoom::Farther)),
        MouseEventKind::ScrollUp | MouseEventKind::ScrollLeft => {
            Some(Action::Scroll(Direction::Back))
        }
        MouseEventKind::ScrollDown | MouseEventKind::ScrollRight => {
            Some(Action::Scroll(Direction::Forward))
        }
        MouseEventKind::Down(MouseButton::Left) => {
            Some(match view.drawn.past?.moment(there.x)? {
                Pointed::Moment(at) => Action::Moment(at),
                Pointed::Present => Action::Follow,
            })
        }
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::screen::layout::Way;
    use crate::screen::tests::{Scene, drawn_after, sec};
    use crate::theory::Glyphs;
    use crate::time::Time;
    use ratatui::buffer::Buffer;
    use ratatui::layout::Rect;
    use std::iter::once;

    /// The view of a picture that was drawn.
    fn drawn(mut view: View) -> View {
        let mut scene = Scene::wandering();
        scene.now = sec(100.5);
        let look = scene.look(Glyphs::Unicode);
        let mut buf = Buffer::empty(Rect::new(0, 0, 120, 36));
        drawn_after(&mut buf, &scene.picture(), &mut view, &look);
        view
    }

    fn asks(
        view: &View,
        kind: MouseEventKind,
        modifiers: KeyModifiers,
        at: (u16, u16),
    ) -> Option<Action> {
        let event = MouseEvent {
            kind,
            column: at.0,
            row: at.1,
            modifiers,
        };
        action(&event, view)
    }

    #[test]
    fn the_wheel_scrolls_and_zooms_over_the_past_and_nowhere_else() {
        let mut back = View::default();
        back.wanted.way = Way::LookingBack;
        for view in [drawn(View::default()), drawn(back)] {
            let panel = [view.drawn.places.history, view.drawn.places.lanes];
            let panel = panel.into_iter().find(|p| !p.is_empty());
            let panel = panel.expect("one of them is there");
            let none = KeyModifiers::NONE;
            use MouseEventKind::{Down, Moved, ScrollDown, ScrollLeft, ScrollRight, ScrollUp, Up};
            for (kind, modifiers, action) in [
                (ScrollUp, none, Action::Scroll(Direction::Back)),
                (ScrollDown, none, Action::Scroll(Direction::Forward)),
                (ScrollLeft, none, Action::Scroll(Direction::Back)),
                (ScrollRight, none, Action::Scroll(Direction::Forward)),
                (ScrollUp, KeyModifiers::CONTROL, Action::Zoom(Zoom::Nearer)),
                (
                    ScrollDown,
                    KeyModifiers::CONTROL,
                    Action::Zoom(Zoom::Farther),
                ),
                (ScrollUp, KeyModifiers::SHIFT, Action::Zoom(Zoom::Nearer)),
                (ScrollDown, KeyModifiers::SHIFT, Action::Zoom(Zoom::Farther)),
            ] {
                for at in panel.positions() {
                    assert_eq!(asks(&view, kind, modifiers, (at.x, at.y)), Some(action));
                }
                // The margin counts, what lies beyond it does not.
                let margin = panel.x.checked_sub(1);
                for x in margin.into_iter().chain(once(panel.right())) {
                    assert_eq!(asks(&view, kind, modifiers, (x, panel.y)), Some(action));
                }
                let beyond = panel.right() + 1;
                assert_eq!(asks(&view, kind, modifiers, (beyond, panel.y)), None);
                for y in [panel.y - 1, panel.bottom()] {
                    assert_eq!(asks(&view, kind, modifiers, (40, y)), None);
                }
            }
            for kind in [Up(MouseButton::Left), Down(MouseButton::Right), Moved] {
                assert_eq!(asks(&view, kind, none, (60, panel.y)), None);
            }
        }
    }

    /// From the left edge on each column is later than the one before, and the last is the
    /// present; before them are the names of the rows.
    #[test]
    fn a_click_is_a_moment_of_the_past_or_the_present() {
        let click = |view: &View, x| {
            let left = MouseEventKind::Down(MouseButton::Left);
            asks(
                view,
                left,
                KeyModifiers::NONE,
                (x, view.drawn.places.history.y),
            )
        };
        let mut view = drawn(View::default());
        let history = view.drawn.places.history;
        let moments = |view: &View| -> Vec<Option<Action>> {
            (history.left()..history.right())
                .map(|x| click(view, x))
                .collect()
        };
        let all = moments(&view);
        assert_eq!(all[..6], [None; 6]);
        let (last, past) = all[6..].split_last().expect("columns");
        assert_eq!(*last, Some(Action::Follow));
        let past: Vec<Time> = past
            .iter()
            .filter_map(|w| match w {
                Some(Action::Moment(at)) => Some(*at),
                _ => None,
            })
            .collect();
        assert_eq!(past.len() + 1, all.len() - 6);
        assert!(past.is_sorted_by(|a, b| a < b));
        assert!(past[0] > sec(39.0) && past[0] < sec(42.0), "{:?}", past[0]);

        // Chosen, it stands in the middle.
        view.history.choose(sec(50.0), sec(100.5));
        let view = drawn(view);
        let middle = usize::from(6 + (history.width - 6) / 2);
        let Some(Action::Moment(at)) = moments(&view)[middle] else {
            panic!("no moment");
        };
        assert!(at >= sec(48.5) && at <= sec(51.5), "{at}");
        assert_eq!(view.history.chosen(), Some(sec(50.0)));

        // Wherever it is scrolled to, the right edge leads back.
        assert_eq!(click(&view, history.right() - 1), Some(Action::Follow));
        let mut view = view;
        view.help.press(1);
        assert_eq!(click(&view, 100), Some(Action::Close));
        assert_eq!(click(&view, 0), Some(Action::Close));
    }
}
