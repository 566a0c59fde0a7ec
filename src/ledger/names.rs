//! Names: how they are spelled, told apart, and found by what a person types.
//!
//! Two names that look the same are the same name: accents are composed (Unicode's NFC), any blank is one space, and what
//! can't be shown is refused. Case and accents never tell two names apart ([`key`]): who types in a hurry leaves them out.

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

/// Returns what a name is told apart by: its letters without case, and without the accents of Latin, Greek and Cyrillic.
pub(crate) fn key(text: &str) -> String {
    let spelled = spelled(text);
    if spelled.is_ascii() {
        return spelled.to_ascii_lowercase();
    }
    // Small, capital and small again: a sharp s is two capitals, and a sigma has two small letters.
    let bare = spelled.nfd().filter(|sign| !is_accent(*sign));
    let capitals = bare
        .flat_map(char::to_lowercase)
        .flat_map(char::to_uppercase);
    let small = capitals.flat_map(char::to_lowercase).nfd();
    let mut key = String::with_capacity(spelled.len());
    for sign in small.filter(|sign| !is_accent(*sign)) {
        match plain_letters(sign) {
            Some(letters) => key.push_str(letters),
            None => key.push(sign),
        }
    }
    key
}

/// Tells whether a sign only stands above or below the letter before it (Unicode's Combining Diacritical Marks).
fn is_accent(sign: char) -> bool {
    matches!(sign, '\u{300}'..='\u{36f}')
}

/// Returns what is typed for a letter with a stroke, or for two in one, where a keyboard has none; Unicode doesn't take them
/// apart.
const fn plain_letters(letter: char) -> Option<&'static str> {
    match letter {
        'ø' => Some("o"),
        'ł' => Some("l"),
        'đ' | 'ð' => Some("d"),
        'ħ' => Some("h"),
        'ŧ' => Some("t"),
        'æ' => Some("ae"),
        'œ' => Some("oe"),
        _ => None,
    }
}

fn spelled(text: &str) -> String {
    let words: Vec<&str> = text.split_whitespace().collect();
    let spelled = words.join(" ");
    match spelled.is_ascii() {
        true => spelled, // Nothing to compose.
        false => spelled.nfc().collect(),
    }
}

/// Returns the range in which all names of plain letters stand that begin like a text, where letters from A to Z are ordered
/// without case; `None`: no such name begins like it.
fn range_of(wanted: &str) -> Option<(String, String)> {
    let from = key(wanted);
    let to = format!("{from}{}", char::MAX);
    (!from.is_empty() && from.is_ascii()).then_some((from, to))
}

impl Ledger {
    /// Returns those that a name may mean, of all that a statement selects by the names in one of its columns: those that have
    /// it whole, or else those that begin like it; of names that aren't of plain letters, every one.
    pub(super) fn may_be_meant<T>(
        &self,
        name: &str,
        (all, column): (&str, &str),
        from_row: impl Fn(&Row<'_>) -> rusqlite::Result<T>,
    ) -> Result<Vec<T>> {
        // These words are those of the indexes (`client_accented` and its like).
        let accented = format!("{column} GLOB '*[^ -~]*'");
        let mut statement = self
            .connection
            .prepare_cached(&format!("{all} AND {accented}"))?;
        let found = statement.query_map([], &from_row)?;
        let mut found: Vec<T> = found.collect::<rusqlite::Result<_>>()?;
        let Some((from, to)) = range_of(name) else {
            return Ok(found);
        };
        // The whole name first: others that begin like it, of which there may be thousands, aren't meant then.
        let mut statement = self.connection.prepare_cached(&format!(
            "{all} AND NOT {accented} AND {column} = :name COLLATE NOCASE"
        ))?;
        let plain = found.len();
        for whole in statement.query_map(named_params! { ":name": from }, &from_row)? {
            found.push(whole?);
        }
        if found.len() > plain {
            return Ok(found);
        }
        let mut statement = self.connection.prepare_cached(&format!(
            "{all} AND NOT {accented} AND {column} >= :from COLLATE NOCASE AND {column} < :to COLLATE NOCASE"
        ))?;
        for beginning in
            statement.query_map(named_params! { ":from": from, ":to": to }, from_row)?
        {
            found.push(beginning?);
        }
        Ok(found)
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

    /// Returns the one that has just that name, case and accents aside.
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

    /// Tells whether what was typed is a name, or the beginning of one.
    pub(super) fn fits(&self, wanted: &str) -> bool {
        !self.fitting(&key(wanted)).is_empty()
    }

    /// Returns where the names stand that have a key, or else begin with it.
    fn fitting(&self, key: &str) -> Vec<usize> {
        let mut found = self.places.get(key).cloned().unwrap_or_default();
        if found.is_empty() && !key.is_empty() {
            let from = self.places.range(key.to_owned()..);
            let begin = from.take_while(|(name, _)| name.starts_with(key));
            let places = begin.flat_map(|(_, places)| places).copied();
            found = places.filter(|place| !self.whole.contains(place)).collect();
            found.sort_unstable();
        }
        found
    }

    /// Returns where the names stand of which a word other than the first begins with a key.
    fn with_word(&self, key: &str) -> Vec<usize> {
        let named = self.places.iter().filter(|(name, _)| has_word(name, key));
        let places = named.flat_map(|(_, places)| places).copied();
        let mut found: Vec<usize> = places.filter(|place| !self.whole.contains(place)).collect();
        found.sort_unstable();
        found
    }

    /// Finds one by what was typed: exact beats the beginning of the name, that the beginning of a word in it, case and
    /// accents aside; near names are listed when none fits.
    pub(super) fn find(&self, wanted: &str) -> Result<&T> {
        let key = key(wanted);
        let mut found = self.fitting(&key);
        if found.is_empty() {
            found = self.with_word(&key);
        }
        match found[..] {
            [only] => Ok(&self.named[only].1),
            [] => Err(self.no_such(wanted, &key).into()),
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

    fn no_such(&self, wanted: &str, key: &str) -> Refusal {
        let refusal = Refusal::new(format!("no {} `{}`", self.noun, wanted.trim()));
        let named = self.named.iter().enumerate();
        let named = named.filter(|(place, _)| !self.whole.contains(place));
        let names = near_names(key, named.map(|(_, (name, _))| name.as_str()));
        match names[..] {
            [] => refusal,
            _ => refusal.hint(format!("near names: {}", names.join(", "))),
        }
    }
}

/// Tells whether a word of a name, other than its first, begins with a key. Blanks part words: `disc-7in-36` is one.
fn has_word(name: &str, key: &str) -> bool {
    !key.is_empty() && name.contains(&format!(" {key}"))
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
        name.starts_with(&wanted_key) || has_word(&name, &wanted_key)
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
            let key = key(name);
            let distance = strsim::damerau_levenshtein(wanted, &key);
            let close = distance <= 2.max(key.chars().count() / 3) || key.contains(wanted);
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
    use proptest::prelude::*;

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
    }

    #[test]
    fn neither_case_nor_accents_tell_names_apart() {
        for names in [
            "Eßzimmer | ESSZIMMER | esszimmer | Esszimmer | EẞZIMMER",
            "Café | cafe | CAFE | CAFÉ | Cafe\u{301} | CAFE\u{301}",
            "Éva  Lind | e\u{301}va lind | EVA LIND",
            "Küche | KÜCHE | Ku\u{308}che | kuche",
            "Łazienka | łazienka | lazienka",
            "Børneværelse | BØRNEVÆRELSE | bornevaerelse",
            "Μπάνιο ορόφου | ΜΠΑΝΙΟ ΟΡΟΦΟΥ | μπανιο οροφου",
            "Λόφος | ΛΟΦΟΣ | λοφοσ",
            "İzmir | IZMIR | ızmir",
        ] {
            let (name, others) = names.split_once(" | ").unwrap();
            for other in others.split(" | ") {
                assert!(same(name, other), "{name}, {other}");
            }
        }
        for (one, other) in [("が", "か"), ("Küche", "Kueche"), ("Bad", "Bad 2")] {
            assert!(!same(one, other), "{one}, {other}");
        }
    }

    proptest! {
        #[test]
        fn a_key_is_its_own_key_however_it_is_composed(text in "\\PC{0,12}") {
            let wanted = key(&text);
            prop_assert_eq!(key(&wanted), wanted.clone());
            prop_assert_eq!(key(&text.nfd().collect::<String>()), wanted.clone());
            prop_assert_eq!(key(&text.nfc().collect::<String>()), wanted.clone());
            // The iota below a vowel of old Greek is a letter of its own in capitals.
            if text.nfd().all(|sign| sign != '\u{345}') {
                prop_assert_eq!(key(&text.to_uppercase()), wanted);
            }
        }
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
            ("4 Tannery Row", "4"),
            ("Strasse 4", "STRAßE"),
        ] {
            assert!(is_in(name, wanted), "{name}, {wanted}");
        }
        assert!(!is_in("Bo Marsh", "ada") && !is_in("Ad", "ada"));
        for wanted in ["", " ", "Μπάνιο"] {
            assert_eq!(range_of(wanted), None, "{wanted}");
        }
    }

    #[test]
    fn names_match_without_case_and_by_the_unique_beginning_of_a_word() {
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
        assert_eq!(found("bed"), Ok(2), "a word further on");
        assert!(found("edroom").is_err(), "no word begins so");
        let missing = rooms.find("lnading").unwrap_err();
        let refusal = missing.downcast_ref::<Refusal>().unwrap();
        assert_eq!(
            (refusal.message.as_str(), refusal.hints[0].as_str()),
            ("no room `lnading`", "near names: `Landing`")
        );
    }
}
