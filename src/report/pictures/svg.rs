//! Writing SVG: shapes whose colours come from the page, coordinates to a tenth, text escaped.

use crate::report::escape;
use std::fmt::Write as _;

/// Width of every picture's view box. At 360 px on a phone, text of [`TEXT`] is 12.4 px high.
pub(super) const WIDTH: f64 = 640.0;

/// Height of text in the view box.
pub(super) const TEXT: f64 = 22.0;

/// Width of a character of [`TEXT`], on the generous side (digits and letters of common sans-serif fonts).
pub(super) const CHARACTER: f64 = 12.0;

/// Colours by the page's custom properties, each with what it is outside a page.
pub(super) const INK: &str = "var(--ink,currentColor)";
pub(super) const MUTED: &str = "var(--muted,currentColor)";
pub(super) const LINE: &str = "var(--line,currentColor)";
pub(super) const ACCENT: &str = "var(--accent,currentColor)";
pub(super) const FAULT: &str = "var(--fault,currentColor)";

/// Line styles of series: told apart without colour too.
const STYLES: [(&str, &str); 6] = [
    ("var(--s1,currentColor)", ""),
    ("var(--s2,currentColor)", "9 5"),
    ("var(--s3,currentColor)", "2 4"),
    ("var(--s4,currentColor)", "14 4 3 4"),
    ("var(--s5,currentColor)", "5 9"),
    ("var(--s6,currentColor)", "1 7"),
];

/// Most series of one picture.
pub(super) const MAX_SERIES: usize = STYLES.len();

/// Colour and dashes of a series.
pub(super) fn style(series: usize) -> (&'static str, &'static str) {
    STYLES.get(series % MAX_SERIES).copied().unwrap_or((INK, ""))
}

/// Where a text stands to its point.
#[derive(Debug, Clone, Copy)]
pub(super) enum Anchor {
    Start,
    Middle,
    End,
}

/// An SVG element in the making.
pub(super) struct Canvas {
    out: String,
}

impl Canvas {
    pub(super) fn new() -> Self {
        Self { out: String::new() }
    }

    pub(super) fn line(&mut self, (x1, y1): (f64, f64), (x2, y2): (f64, f64), colour: &str, width: f64) {
        let path = format!("M{} {}L{} {}", n(x1), n(y1), n(x2), n(y2));
        self.path(&path, colour, width, "");
    }

    /// A stroked path; `dashes` as of `stroke-dasharray`, empty for a whole line.
    pub(super) fn path(&mut self, path: &str, colour: &str, width: f64, dashes: &str) {
        let dashes =
            if dashes.is_empty() { String::new() } else { format!(" stroke-dasharray=\"{dashes}\"") };
        let width = n(width);
        let _ = writeln!(
            self.out,
            "<path d=\"{path}\" fill=\"none\" stroke=\"{colour}\" stroke-width=\"{width}\"{dashes}/>"
        );
    }

    /// A filled area given as a path.
    pub(super) fn area(&mut self, path: &str, colour: &str, opacity: f64) {
        let _ = writeln!(self.out, "<path d=\"{path}\" fill=\"{colour}\" fill-opacity=\"{opacity}\"/>");
    }

    pub(super) fn rect(&mut self, (x, y): (f64, f64), (w, h): (f64, f64), colour: &str, opacity: f64) {
        let path = format!("M{} {}h{}v{}h{}z", n(x), n(y), n(w), n(h), n(-w));
        self.area(&path, colour, opacity);
    }

    pub(super) fn text(&mut self, (x, y): (f64, f64), anchor: Anchor, colour: &str, text: &str) {
        let anchor = match anchor {
            Anchor::Start => "",
            Anchor::Middle => " text-anchor=\"middle\"",
            Anchor::End => " text-anchor=\"end\"",
        };
        let (x, y, text) = (n(x), n(y), escaped(text));
        let _ = writeln!(self.out, "<text x=\"{x}\" y=\"{y}\"{anchor} fill=\"{colour}\">{text}</text>");
    }

    /// The whole element, with its name and description for those who cannot see it.
    pub(super) fn finish(self, id: &str, height: f64, title: &str, about: &str) -> String {
        format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {} {}\" role=\"img\" \
             aria-labelledby=\"{id}-title {id}-about\" font-family=\"system-ui,sans-serif\" font-size=\"{}\">\n\
             <title id=\"{id}-title\">{}</title>\n<desc id=\"{id}-about\">{}</desc>\n{}</svg>",
            n(WIDTH),
            n(height),
            n(TEXT),
            escaped(title),
            escaped(about),
            self.out
        )
    }
}

/// A coordinate to a tenth, without needless zeros; what is no number is 0.
pub(super) fn n(v: f64) -> String {
    // No picture is larger; infinite numbers end here too.
    let v = if v.is_nan() { 0.0 } else { v.clamp(-1e5, 1e5) };
    let tenths = (v * 10.0).round() as i64;
    let (sign, tenths) = (if tenths < 0 { "-" } else { "" }, tenths.abs());
    match tenths % 10 {
        0 => format!("{sign}{}", tenths / 10),
        tenth => format!("{sign}{}.{tenth}", tenths / 10),
    }
}

/// Text that is safe within XML.
pub(super) fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in escape::plain(text).chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            c => out.push(c),
        }
    }
    out
}

/// The text cut to so many units of width, with an ellipsis where something is missing.
pub(super) fn shortened(text: &str, width: f64) -> String {
    let most = (width / CHARACTER).max(2.0) as usize;
    let text = escape::plain(text.trim());
    if text.chars().count() <= most {
        return text.into_owned();
    }
    let mut cut: String = text.chars().take(most - 1).collect();
    cut.truncate(cut.trim_end().len());
    cut.push('…');
    cut
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn coordinates_are_short() {
        let got = [0.0, -0.04, 1.0, 1.25, -7.96, f64::NAN, f64::INFINITY].map(n);
        assert_eq!(got, ["0", "0", "1", "1.3", "-8", "0", "100000"]);
    }

    #[test]
    fn text_is_text() {
        assert_eq!(escaped("<b a='1'>&\"\u{202e}"), "&lt;b a=&#39;1&#39;&gt;&amp;&quot;\\u{202e}");
        assert_eq!(shortened("bow sensor of the boat", 132.0), "bow sensor…");
        assert_eq!(shortened("bow", 132.0), "bow");
    }
}
