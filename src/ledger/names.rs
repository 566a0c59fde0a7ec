//! Names: how they are spelled, told apart, and found by what a person types.
//!
//! Two names that look the same are the same name: accents are composed (Unicode's NFC), any blank is one space, and what
//! can't be shown is refused. Case never tells two names apart.

use std::collections::{BTreeMap, BTreeSet};

use anyhow::Result;
use rusqlite::{Row, named_params};
use unicode_normalization::UnicodeNormalization;

use super::{Ledger, Refusal, refuse};

/// Tells whether a sign can be shown: it is no control, and it hides or turns nothing around it.
pub(crate) fn can_be_shown(sign: char) -> bool {
    !sign.is_control()
        && !matches!(
            sign,
            '\u{ad}'                        // a soft hyphen
                | '\u{61c}'                 // marks and turns of direction
                | '\u{200e}' | '\u{200f}'
                | '\u{202a}'..='\u{202e}'
                | '\u{2066}'..='\u{2069}'
                | '\u{200b}'                // nothing, in some width
                | '\u{2060}'..='\u{2064}'
                | '\u{feff}'
                | '\u{2028}' | '\u{2029}'   // ends of lines and paragraphs
                | '\u{fff9}'..='\u{fffb}'   // annotations
                | '\u{e0000}'..='\u{e0fff}' // tags
        )
}

/// Returns a name as it is kept.
///
/// # Errors
/// Refuses an empty one, and what can't be shown.
pub(crate) fn named(noun: &str, text: &str) -> Result<String> {
    let text = text.trim();
    if let Some(sign) = text.chars().find(|sign| !can_be_shown(*sign)) {
        return Err(Refusal::new(format!(
            "no {noun} is called `{text}`: it holds a sign that can't be shown, U+{:04X}",
            u32::from(sign)
        ))
        .hint("type the name again, by hand")
        .into());
    }
    let name = spelled(text);
    if name.is_empty() {
        refuse!("a name is missing: what is the {noun} called?");
    }
    Ok(name)
}

/// Tells whether two spellings are one name.
pub(crate) fn same(name: &str, other: &str) -> bool {
    key(name) == key(other)
}

/// Returns what a name is told apart by.
pub(crate) fn key(text: &str) -> String {
    spelled(text).to_lowercase()
}

fn spelled(text: &str) -> String {
    let words: Vec<&str> = text.split_whitespace().collect();
    let spelled = words.join(" ");
    match spelled.is_ascii() {
        true => spelled, // Nothing to compose.
        false => spelled.nfc().collect(),
    }
}

/// Returns the range in which all kept names stand that begin like a text, where letters from A to Z are ordered without
/// case; `None`: only who reads all names can tell.
fn range_of(wanted: &str) -> Option<(String, String)> {
    let from = key(wanted);
    let to = format!("{from}{}", char::MAX);
    (!from.is_empty() && from.is_ascii()).then_some((from, to))
}

impl Ledger {
    /// Returns those that begin like a name, by a query of their range; none: nobody can tell, or none does.
    pub(super) fn begin_like<T>(
        &self,
        name: &str,
        range: &str,
        from_row: impl Fn(&Row<'_>) -> rusqlite::Result<T>,
    ) -> Result<Vec<T>> {
        let Some((from, to)) = range_of(name) else {
            return Ok(Vec::new());
        };
        let mut statement = self.connection.prepare_cached(range)?;
        let found = statement.query_map(named_params! { ":from": from, ":to": to }, from_row)?;
        Ok(found.collect::<rusqlite::Result<_>>()?)
    }
}

/// Things of one noun by their names, for whoever looks many of them up.
#[derive(Clone, Debug)]
pub(super) struct Names<T> {
    noun: &'static str,
    named: Vec<(String, T)>,
    /// Where in `named` each name stands, by what it is told apart by.
    places: BTreeMap<String, Vec<usize>>,
    /// Those in `named` that are meant only by their whole name.
    whole: BTreeSet<usize>,
}

impl<T> Names<T> {
    pub(super) fn new(
        noun: &'static str,
        named: impl IntoIterator<Item = (String, T)>,
    ) -> Names<T> {
        let mut names = Names {
            noun,
            named: Vec::new(),
            places: BTreeMap::new(),
            whole: BTreeSet::new(),
        };
        for (name, thing) in named {
            names.add(name, thing);
        }
        names
    }

    pub(super) fn add(&mut self, name: String, thing: T) {
        let places = self.places.entry(key(&name)).or_default();
        places.push(self.named.len());
        self.named.push((name, thing));
    }

    /// Has some meant only by their whole name: no beginning is taken for it, and no near name.
    pub(super) fn only_whole(mut self, is_so: impl Fn(&T) -> bool) -> Names<T> {
        let places = self.named.iter().enumerate();
        self.whole = places
            .filter(|(_, (_, thing))| is_so(thing))
            .map(|(place, _)| place)
            .collect();
        self
    }

    pub(super) fn is_empty(&self) -> bool {
        self.named.is_empty()
    }

    /// Returns the one that has just that name, case aside.
    pub(super) fn exact(&self, name: &str) -> Option<&T> {
        let place = *self.places.get(&key(name))?.first()?;
        Some(&self.named[place].1)
    }

    /// Returns a new thing's name as it is kept.
    ///
    /// # Errors
    /// Refuses what is no name, and a name that is taken.
    pub(super) fn free(&self, text: &str) -> Result<String> {
        self.free_for(text, |_| false)
    }

    /// Returns a name as it is kept, for the one thing that may have it already.
    pub(super) fn free_for(&self, text: &str, is_own: impl Fn(&T) -> bool) -> Result<String> {
        let name = named(self.noun, text)?;
        match self.exact(&name) {
            Some(other) if !is_own(other) => {
                refuse!("there is already a {} `{name}`", self.noun)
            }
            _ => Ok(name),
        }
    }

    /// Finds one by what was typed: exact beats beginning, case aside; near names are listed when none fits.
    pub(super) fn find(&self, wanted: &str) -> Result<&T> {
        let lower = key(wanted);
        let mut found = self.places.get(&lower).cloned().unwrap_or_default();
        if found.is_empty() && !lower.is_empty() {
            let from = self.places.range(lower.clone()..);
            let begin = from.take_while(|(name, _)| name.starts_with(&lower));
            let places = begin.flat_map(|(_, places)| places).copied();
            found = places.filter(|place| !self.whole.contains(place)).collect();
            found.sort_unstable();
        }
        match found[..] {
            [only] => Ok(&self.named[only].1),
            [] => Err(self.no_such(wanted, &lower).into()),
            _ => {
                let names: Vec<String> = found
                    .iter()
                    .map(|place| format!("`{}`", self.named[*place].0))
                    .collect();
                refuse!(
                    "`{}` could be any {} of {}",
                    wanted.trim(),
                    self.noun,
                    names.join(", ")
                )
            }
        }
    }

    fn no_such(&self, wanted: &str, lower: &str) -> Refusal {
        let refusal = Refusal::new(format!("no {} `{}`", self.noun, wanted.trim()));
        let named = self.named.iter().enumerate();
        let named = named.filter(|(place, _)| !self.whole.contains(place));
        let names = near_names(lower, named.map(|(_, (name, _))| name.as_str()));
        match names[..] {
            [] => refusal,
            _ => refusal.hint(format!("near names: {}", names.join(", "))),
        }
    }
}

/// What a numbered thing is known by beside its number.
pub(super) struct KnownBy<'a> {
    pub(super) number: &'a str,
    pub(super) client: &'a str,
    pub(super) site: &'a str,
    /// Others are meant before it.
    pub(super) is_over: bool,
}

/// Finds the numbered thing that is meant by its client or site, or by how a word of them begins; `None`: none is.
///
/// # Errors
/// Refuses to choose between several that aren't over, or between several that are.
pub(super) fn by_client_or_site<'a, T>(
    noun: &str,
    wanted: &str,
    things: &'a [T],
    known_by: impl Fn(&'a T) -> KnownBy<'a>,
) -> Result<Option<&'a T>> {
    let wanted_key = key(wanted);
    let begins = |name: &str| {
        let name = key(name);
        name.starts_with(&wanted_key) || name.contains(&format!(" {wanted_key}"))
    };
    let is_meant = |thing: &&'a T| {
        let known = known_by(thing);
        !wanted_key.is_empty() && (begins(known.client) || begins(known.site))
    };
    let meant: Vec<&'a T> = things.iter().filter(is_meant).collect();
    let (over, mut meant): (Vec<&'a T>, Vec<&'a T>) =
        meant.into_iter().partition(|thing| known_by(thing).is_over);
    if meant.is_empty() {
        meant = over;
    }
    match meant[..] {
        [] => Ok(None),
        [only] => Ok(Some(only)),
        _ => {
            let told: Vec<String> = meant
                .iter()
                .map(|thing| {
                    let known = known_by(thing);
                    format!("{} ({}, {})", known.number, known.client, known.site)
                })
                .collect();
            Err(
                Refusal::new(format!("`{}` fits several {noun}s", wanted.trim()))
                    .hint(format!("say which: {}", told.join(", ")))
                    .into(),
            )
        }
    }
}

/// Returns the names nearest to a mistyped one, best first.
pub(crate) fn near_names<'a>(wanted: &str, names: impl Iterator<Item = &'a str>) -> Vec<String> {
    let mut near: Vec<(usize, &str)> = names
        .filter_map(|name| {
            let lower = name.to_lowercase();
            let distance = strsim::damerau_levenshtein(wanted, &lower);
            let close = distance <= 2.max(lower.chars().count() / 3) || lower.contains(wanted);
            close.then_some((distance, name))
        })
        .collect();
    near.sort_unstable();
    near.dedup();
    near.into_iter()
        .take(5)
        .map(|(_, name)| format!("`{name}`"))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_is_kept_as_it_looks() {
        let kept = |text: &str| named("client", text).map_err(|error| error.to_string());
        for (text, name) in [
            ("  Ada   Quill ", "Ada Quill"),
            ("Ada\u{a0}Quill", "Ada Quill"),
            ("Zoe\u{301} Lind", "Zo\u{e9} Lind"),
            ("Zo\u{e9} Lind", "Zo\u{e9} Lind"),
            ("\u{212b}sa", "\u{c5}sa"),
            (
                "\u{1f468}\u{200d}\u{1f33e} & Sons",
                "\u{1f468}\u{200d}\u{1f33e} & Sons",
            ),
        ] {
            assert_eq!(kept(text), Ok(name.to_owned()), "{text:?}");
        }
        for text in [
            "",
            "   ",
            "Ada\u{7}Quill",
            "Ada\tQuill",
            "Ada\nQuill",
            "A\u{200b}da",
            "A\u{ad}da",
            "\u{202e}adA",
            "Ada\u{9b}31m",
            "\u{feff}Ada",
        ] {
            assert!(kept(text).is_err(), "{text:?}");
        }
        assert!(same("\u{c9}va  Lind", "e\u{301}va lind"));
        assert!(!same("Eva Lind", "\u{c9}va Lind"));
    }

    #[test]
    fn names_that_begin_alike_stand_in_one_range() {
        let is_in = |name: &str, wanted: &str| {
            let (from, to) = range_of(wanted).unwrap();
            let name = name.to_ascii_lowercase();
            from <= name && name < to
        };
        for (name, wanted) in [
            ("Ada Quill", "ada  QUILL"),
            ("Ada Quill", "ada"),
            ("Zo\u{eb} Lind", "zo"),
            ("4 Tannery Row", "4"),
        ] {
            assert!(is_in(name, wanted), "{name}, {wanted}");
        }
        assert!(!is_in("Bo Marsh", "ada") && !is_in("Ad", "ada"));
        for wanted in ["", " ", "Zo\u{eb}", "\u{c9}va"] {
            assert_eq!(range_of(wanted), None, "{wanted}");
        }
    }

    #[test]
    fn names_match_without_case_and_by_unique_beginning() {
        let named = [
            ("Landing", 1),
            ("Back bedroom", 2),
            ("Back", 3),
            ("Bath", 4),
        ];
        let rooms = Names::new("room", named.map(|(name, id)| (name.to_owned(), id)));
        let found = |wanted: &str| {
            rooms
                .find(wanted)
                .copied()
                .map_err(|error| error.to_string())
        };
        assert_eq!(found("LANDING"), Ok(1));
        assert_eq!(found("back"), Ok(3), "exact beats beginning");
        assert_eq!(found("back b"), Ok(2));
        assert_eq!(
            found("ba"),
            Err("`ba` could be any room of `Back bedroom`, `Back`, `Bath`".to_owned())
        );
        let missing = rooms.find("lnading").unwrap_err();
        let refusal = missing.downcast_ref::<Refusal>().unwrap();
        assert_eq!(
            (refusal.message.as_str(), refusal.hints[0].as_str()),
            ("no room `lnading`", "near names: `Landing`")
        );
    }
}
