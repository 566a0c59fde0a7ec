//! Whether every refusal has its words in a test: the sources are read for what they refuse, and the tests for lines that
//! say it, exactly.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

/// What words of a refusal stand in.
const MARKS: &[&str] = &[
    "refuse!(",
    "bail!(",
    "Refusal::new(",
    "#[error(",
    "Err(format!(",
    "Err(\"",
    ".wrong(",
    ".refusal(",
    ".context(",
    ".with_context(",
    "context.confirm(",
    "context.confirm_or(",
    "context.confirm_if_there(",
    "several_jobs(",
];

/// Refusals whose words are handed to them.
const MADE_ELSEWHERE: &[&str] = &[
    "cli/mod.rs: Refusal::new(words)",
    "ledger/corrections.rs: Refusal::new(words(&voided.number))",
    "ledger/jobs.rs: several_jobs(jobs: &[Job])",
    "ledger/jobs.rs: several_jobs(several)",
    "ledger/readings.rs: Refusal::new(first.to_string())",
    "ledger/refusal.rs: Refusal::new(format!($($message)*))",
    "ledger/rows.rs: .refusal(what)",
    "ledger/workers.rs: Refusal::new(without_any)",
];

/// What passes on the words of another refusal.
const PASSED_ON: &[&str] = &["error", "error.to_string()", "doubt", "transparent"];

/// What takes its words as a format, and then what fills it.
const FORMATS: &[&str] = &["format!(", "refuse!(", "bail!(", "#[error("];

/// A string of a source: where it begins and ends, and its text.
struct Literal {
    begin: usize,
    end: usize,
    text: String,
}

/// A source with its strings blanked out, so that brackets and marks in them count for nothing.
struct Source {
    code: Vec<u8>,
    literals: Vec<Literal>,
}

impl Source {
    fn read(text: &str) -> Source {
        let mut code = text.as_bytes().to_vec();
        let mut literals = Vec::new();
        let mut at = 0;
        while at < code.len() {
            let rest = &text.as_bytes()[at..];
            let end = if rest.starts_with(b"//") {
                at + rest
                    .iter()
                    .position(|sign| *sign == b'\n')
                    .unwrap_or(rest.len())
            } else if rest.starts_with(b"'") {
                at + end_of_character(rest)
            } else if let Some((length, text)) = literal(rest, at > 0 && is_name(code[at - 1])) {
                let (begin, end) = (at, at + length);
                literals.push(Literal { begin, end, text });
                code[begin] = b'"';
                at += 1;
                end
            } else {
                at += 1;
                continue;
            };
            code[at..end].fill(b' ');
            at = end;
        }
        Source { code, literals }
    }

    /// Returns where a bracket that opens before `from` closes.
    fn close(&self, from: usize) -> usize {
        let mut depth = 1;
        for (at, sign) in self.code.iter().enumerate().skip(from) {
            match sign {
                b'(' | b'[' | b'{' => depth += 1,
                b')' | b']' | b'}' => depth -= 1,
                _ => {}
            }
            if depth == 0 {
                return at;
            }
        }
        self.code.len()
    }

    fn find(&self, word: &str, from: usize) -> Option<usize> {
        let mut windows = self.code[from..].windows(word.len());
        windows
            .position(|window| window == word.as_bytes())
            .map(|at| from + at)
    }

    /// Returns the sentences between two places: formats without what fills them, and no hints.
    fn sentences(&self, begin: usize, end: usize) -> Vec<String> {
        let mut sentences = Vec::new();
        let mut at = begin;
        while at < end {
            let here = &self.code[at..end];
            if let Some(format) = FORMATS
                .iter()
                .find(|format| here.starts_with(format.as_bytes()))
            {
                let (from, to) = (at + format.len(), self.close(at + format.len()));
                sentences.extend(self.literals_in(from, to).next().map(|it| it.text.clone()));
                at = to;
            } else if here.starts_with(b".hint(") {
                at = self.close(at + ".hint(".len());
            } else if let Some(literal) = self.literals_in(at, at + 1).next() {
                sentences.push(literal.text.clone());
                at = literal.end;
            } else {
                at += 1;
            }
        }
        sentences
    }

    fn literals_in(&self, begin: usize, end: usize) -> impl Iterator<Item = &Literal> {
        let first = self
            .literals
            .partition_point(|literal| literal.begin < begin);
        self.literals[first..]
            .iter()
            .take_while(move |literal| literal.begin < end)
    }

    /// Cuts off the tests of the module.
    fn without_tests(mut self) -> Source {
        if let Some(tests) = self.find("#[cfg(test)]\nmod tests {", 0) {
            self.code.truncate(tests);
        }
        self
    }

    /// Returns the sentences of every refusal, and the refusals in which none is found.
    fn refusals(&self) -> (Vec<String>, Vec<String>) {
        let (mut sentences, mut unclear) = (Vec::new(), Vec::new());
        for mark in MARKS {
            let mut from = 0;
            while let Some(at) = self.find(mark, from) {
                from = at + mark.len();
                let open = at + mark.find('(').expect("a mark opens a bracket") + 1;
                let close = self.close(open);
                // What is refused may be a format itself.
                let begin = if FORMATS.contains(mark) { at } else { open };
                let words = String::from_utf8_lossy(&self.code[open..close]);
                let last = words.rsplit(',').next().unwrap_or_default();
                let name = last.trim().trim_start_matches('&');
                let is_name = !name.is_empty() && name.bytes().all(is_name);
                let mut found = self.sentences(begin, close);
                found.retain(|sentence| !is_name || sentence.contains(' '));
                if found.is_empty() && is_name {
                    found = self.bound(name, at);
                }
                if found.is_empty() && !PASSED_ON.contains(&name) {
                    unclear.push(format!("{mark}{name})"));
                }
                sentences.extend(found);
            }
        }
        sentences.retain(|sentence| sentence.contains(' '));
        (sentences, unclear)
    }

    /// Returns the sentences that a name was bound to, nearest before a place.
    fn bound(&self, name: &str, before: usize) -> Vec<String> {
        let binding = format!("let {name} = ");
        let mut from = 0;
        let mut last = None;
        while let Some(at) = self.find(&binding, from).filter(|at| *at < before) {
            last = Some(at);
            from = at + 1;
        }
        last.map_or_else(Vec::new, |at| {
            let mut end = at + binding.len();
            while self.code[end] != b';' {
                end = match self.code[end] {
                    b'(' | b'[' | b'{' => self.close(end + 1),
                    _ => end + 1,
                };
            }
            self.sentences(at, end)
        })
    }
}

fn is_name(sign: u8) -> bool {
    sign.is_ascii_alphanumeric() || sign == b'_'
}

/// Returns how long a character in quotes is; 1, if it's a lifetime's mark.
fn end_of_character(rest: &[u8]) -> usize {
    let text = String::from_utf8_lossy(&rest[1..rest.len().min(12)]).into_owned();
    let mut signs = text.char_indices();
    match signs.next() {
        Some((_, '\\')) => {
            3 + text[2..].find('\'').unwrap_or(0) + usize::from(text.as_bytes()[1] == b'\'')
        }
        Some(_) => match signs.next() {
            Some((at, '\'')) => at + 2,
            _ => 1,
        },
        None => 1,
    }
}

/// Returns the string that a text begins with: its length with its quotes, and what it says.
fn literal(rest: &[u8], in_word: bool) -> Option<(usize, String)> {
    if rest.first() == Some(&b'r') && !in_word {
        let marks = rest[1..].iter().take_while(|sign| **sign == b'#').count();
        if rest.get(1 + marks) == Some(&b'"') {
            let close = [&b"\""[..], &vec![b'#'; marks]].concat();
            let begin = marks + 2;
            let length = rest[begin..]
                .windows(close.len())
                .position(|it| it == close)?;
            let text = String::from_utf8_lossy(&rest[begin..begin + length]);
            return Some((begin + length + close.len(), text.into_owned()));
        }
        return None;
    }
    if rest.first() != Some(&b'"') {
        return None;
    }
    let (mut text, mut at) = (Vec::new(), 1);
    while rest.get(at).is_some_and(|sign| *sign != b'"') {
        if rest[at] != b'\\' {
            text.push(rest[at]);
            at += 1;
            continue;
        }
        at += 2;
        match rest[at - 1] {
            b'n' => text.push(b'\n'),
            b'\n' => {
                at += rest[at..]
                    .iter()
                    .take_while(|sign| sign.is_ascii_whitespace())
                    .count();
            }
            sign => text.push(sign),
        }
    }
    Some((at + 1, String::from_utf8_lossy(&text).into_owned()))
}

/// Returns the words of a format between what fills it.
fn pieces(format: &str) -> Vec<String> {
    let format = format.replace("{{", "\u{1}").replace("}}", "\u{2}");
    let mut pieces = Vec::new();
    for (position, part) in format.split('{').enumerate() {
        let words = match position {
            0 => part,
            _ => part.split_once('}').map_or("", |(_, words)| words),
        };
        pieces.push(words.replace('\u{1}', "{").replace('\u{2}', "}"));
    }
    pieces
}

/// Tells whether a line is those words, with something in each place between them.
fn says(line: &str, pieces: &[String]) -> bool {
    let [first, between @ .., last] = pieces else {
        return pieces.iter().all(|only| only == line);
    };
    let Some(mut rest) = line.strip_prefix(first.as_str()) else {
        return false;
    };
    for piece in between {
        let Some(skipped) = rest.char_indices().nth(1).map(|(at, _)| at) else {
            return false;
        };
        let Some(at) = rest[skipped..].find(piece.as_str()) else {
            return false;
        };
        rest = &rest[skipped + at + piece.len()..];
    }
    rest.len() > last.len() && rest.ends_with(last.as_str())
}

/// Tells whether a line says a refusal, perhaps after its label or place and before its hint in one line.
fn tells(line: &str, pieces: &[String]) -> bool {
    let mut rest = line;
    loop {
        if says(rest, pieces)
            || rest
                .match_indices("; ")
                .any(|(at, _)| says(&rest[..at], pieces))
        {
            return true;
        }
        let Some((label, words)) = rest.split_once(": ") else {
            return false;
        };
        let is_label = ["caused by", "line ", "case_id "]
            .iter()
            .any(|label_of| label.starts_with(label_of))
            || label.ends_with("can't be coated in a day");
        if label.contains(' ') && !is_label {
            return false;
        }
        rest = words;
    }
}

fn sources(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder)
        .expect("a folder")
        .map(|entry| entry.expect("an entry"))
    {
        match entry.path() {
            path if path.is_dir() => sources(&path, found),
            path if path.extension().is_some_and(|it| it == "rs") => found.push(path),
            _ => {}
        }
    }
    found.sort();
}

#[test]
fn every_refusal_has_its_exact_words_in_a_test() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let (mut program, mut tests) = (Vec::new(), Vec::new());
    sources(&root.join("src"), &mut program);
    sources(&root.join("tests"), &mut tests);
    let (mut refusals, mut unclear, mut lines) = (BTreeSet::new(), BTreeSet::new(), Vec::new());
    let mut hold = |source: &Source, from: usize| {
        for literal in source
            .literals
            .iter()
            .filter(|literal| literal.begin >= from)
        {
            lines.extend(literal.text.lines().map(|line| line.trim().to_owned()));
        }
    };
    for path in &program {
        let source = Source::read(&fs::read_to_string(path).expect("a source"));
        if path.ends_with("tests.rs") {
            hold(&source, 0);
            continue;
        }
        let source = source.without_tests();
        hold(&source, source.code.len());
        let name = path
            .strip_prefix(root.join("src"))
            .expect("a source")
            .display();
        let (said, none) = source.refusals();
        let said = said.into_iter().map(|said| said.replace('\n', "\\n"));
        refusals.extend(said.map(|said| format!("{name}: {said}")));
        unclear.extend(none.into_iter().map(|none| format!("{name}: {none}")));
    }
    for path in &tests {
        let source = Source::read(&fs::read_to_string(path).expect("a source"));
        hold(&source, 0);
    }
    // What takes locks, rights, disks and terminals is tried there.
    let hardship = fs::read_to_string(root.join("tests/hardship.py")).expect("a script");
    for line in hardship.lines() {
        lines.extend(line.split('"').skip(1).step_by(2).map(str::to_owned));
    }
    let is_held = |refusal: &&String| {
        let (_, words) = refusal.split_once(": ").expect("a name");
        let pieces = pieces(words);
        lines.iter().any(|line| tells(line, &pieces))
    };
    let unheld: Vec<&str> = refusals
        .iter()
        .filter(|refusal| !is_held(refusal))
        .map(String::as_str)
        .collect();
    assert!(
        unheld.is_empty(),
        "no test says in exact words: {unheld:#?}"
    );
    let unclear: Vec<&str> = unclear.iter().map(String::as_str).collect();
    assert_eq!(
        unclear, MADE_ELSEWHERE,
        "refusals without words of their own"
    );
}
