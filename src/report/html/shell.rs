//! The frame of every page: head, style sheet, way in for keyboards, caution and the door that all text passes.

use crate::report::escape::within_lines;
use crate::report::model::Tool;
use crate::report::words::CAUTION;
use maud::{DOCTYPE, Markup, PreEscaped, html};
use std::io::{self, Write};

/// The style sheet: light, dark, phone and paper.
const STYLE: &str = include_str!("style.css");

/// The only script: it lets tables be sorted, and nothing is lost without it.
const SCRIPT: &str = include_str!("sort.js");

/// What the page may do: apply its own style sheet, run the one script with this hash, and nothing else. It can load
/// nothing from anywhere (Content Security Policy Level 3, sections 2.3.1 and 6.7). Inline styles are allowed for the
/// sake of the pictures.
const POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'; \
    script-src 'sha256-94s6MW0TlQww/h1GSzkfDroNBApNO5njZV/GpgBXc7s='; base-uri 'none'; form-action 'none'";

/// One page, ready but for its frame.
#[derive(Debug)]
pub struct Document<'a> {
    /// What a browser's tab and a mail's attachment are told by.
    pub title: &'a str,
    /// Which program wrote it.
    pub tool: &'a Tool,
    /// What stands above the main part: what the page is about.
    pub about: Markup,
    /// Parts that can be jumped to, each with the id of its section and its name.
    pub parts: &'a [(&'a str, &'a str)],
    /// The main part: sections, the first with the page's only `h1`.
    pub main: Markup,
}

impl Document<'_> {
    /// Writes the page, whole in one file.
    ///
    /// Markup is escaped as it is built; here, the characters that hide or reorder their neighbours go too, so that no
    /// page can let a recording's text through raw.
    ///
    /// # Errors
    /// When the output refuses it.
    pub fn write(&self, out: &mut dyn Write) -> io::Result<()> {
        let page = html! {
            (DOCTYPE) "\n"
            html lang="en" {
                head {
                    meta charset="utf-8";
                    meta http-equiv="Content-Security-Policy" content=(POLICY);
                    meta name="viewport" content="width=device-width, initial-scale=1";
                    meta name="color-scheme" content="light dark";
                    meta name="referrer" content="no-referrer";
                    title { (self.title) }
                    "\n"
                    style { (PreEscaped(STYLE)) }
                }
                "\n"
                body {
                    a.skip href="#main" { "Skip to the answer" }
                    header {
                        (self.about)
                        @if !self.parts.is_empty() {
                            nav aria-label="Parts of this page" {
                                ul {
                                    @for (id, name) in self.parts { li { a href={ "#" (id) } { (name) } } }
                                }
                            }
                        }
                    }
                    "\n"
                    main #main tabindex="-1" { (self.main) }
                    "\n"
                    footer {
                        p.caution { strong { "Caution. " } (CAUTION) }
                        p { "Written by " (self.tool.name) " " (self.tool.version) ". The page holds everything it shows and loads nothing from anywhere." }
                    }
                    "\n"
                    script { (PreEscaped(SCRIPT)) }
                }
            }
            "\n"
        };
        out.write_all(within_lines(&page.into_string()).as_bytes())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use sha2::{Digest, Sha256};

    /// RFC 4648, section 4.
    fn base64(bytes: &[u8]) -> String {
        const LETTERS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
        let mut out = String::new();
        for three in bytes.chunks(3) {
            let bits = (0..3).fold(0, |bits, at| bits << 8 | u32::from(*three.get(at).unwrap_or(&0)));
            for at in 0..4 {
                let letter = LETTERS[(bits >> (18 - 6 * at) & 63) as usize];
                out.push(if at > three.len() { '=' } else { letter.into() });
            }
        }
        out
    }

    #[test]
    fn the_policy_names_the_script_that_stands_in_the_page() {
        // RFC 4648, section 10.
        assert_eq!(["f", "fo", "foobar"].map(|s| base64(s.as_bytes())), ["Zg==", "Zm8=", "Zm9vYmFy"]);
        let hash = format!("'sha256-{}'", base64(&Sha256::digest(SCRIPT)));
        assert!(POLICY.contains(&hash), "put {hash} into POLICY");
    }

    #[test]
    fn nothing_is_loaded_from_anywhere() {
        let document = Document {
            title: "<title>",
            tool: &Tool { name: "leadsman", version: "0" },
            about: html! { p { "about" } },
            parts: &[],
            main: html! { h1 { "h" } },
        };
        let mut out = Vec::new();
        document.write(&mut out).unwrap();
        let page = String::from_utf8(out).unwrap();
        assert!(
            page.starts_with("<!DOCTYPE html>\n<html lang=\"en\">") && page.contains("<title>&lt;title&gt;")
        );
        for bad in ["http://", "https://", "url(", "@import", "src=", "<link"] {
            assert!(!page.contains(bad), "{bad}");
        }
    }
}
