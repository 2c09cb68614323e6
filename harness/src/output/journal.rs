//! Journal of finished runs, one line each, written as they finish. It survives an abort.

use std::fs::{File, OpenOptions};
use std::io::{self, BufRead, BufReader, Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};
use std::sync::Mutex;

use aplomb_study::disperse::{Run, digest};

/// A file to which finished runs are appended.
#[derive(Debug)]
pub struct Journal {
    file: Mutex<File>,
    path: PathBuf,
}

const TITLE: &str = "aplomb dispersion ";
/// Longest line in bytes: some 10,000 figures.
const LONGEST_LINE: u64 = 1 << 18;

/// Contents of a journal.
#[derive(Debug, Default, PartialEq)]
pub struct Found {
    /// The runs.
    pub runs: Vec<Run>,
    /// Number of damaged lines: their runs are flown again.
    pub damaged: u64,
}

impl Journal {
    /// Opens or creates the journal at `path` and returns its contents. An incomplete last line is dropped.
    /// The file is locked.
    ///
    /// # Errors
    /// An error of the file system; a journal of another campaign; a locked journal.
    pub fn open(path: &Path, fingerprint: &str) -> io::Result<(Self, Found)> {
        let mut file = OpenOptions::new().read(true).write(true).create(true).truncate(false).open(path)?;
        file.try_lock().map_err(|_| io::Error::other("is being written to by another run"))?;
        let (found, whole) = contents(&file, fingerprint)?;
        file.set_len(whole)?;
        file.seek(SeekFrom::End(0))?;
        if whole == 0 {
            file.write_all(format!("{TITLE}{fingerprint}\n").as_bytes())?;
        }
        Ok((Self { file: Mutex::new(file), path: path.to_owned() }, found))
    }

    /// Adds a finished run.
    ///
    /// # Errors
    /// An error of the file system.
    pub fn add(&self, run: &Run) -> io::Result<()> {
        let line = line(run);
        let mut file = self.file.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
        file.write_all(line.as_bytes())
    }

    /// Its path.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }
}

/// Reads a finished journal.
///
/// # Errors
/// An error of the file system; a journal of another campaign.
pub fn read(path: &Path, fingerprint: &str) -> io::Result<Found> {
    Ok(contents(&File::open(path)?, fingerprint)?.0)
}

/// The contents, and the length of the complete lines in bytes.
fn contents(file: &File, fingerprint: &str) -> io::Result<(Found, u64)> {
    let mut lines = BufReader::new(file);
    let (mut found, mut position, mut whole) = (Found::default(), 0, 0);
    let mut line = Vec::new();
    loop {
        line.clear();
        let length = lines.by_ref().take(LONGEST_LINE).read_until(b'\n', &mut line)? as u64;
        let is_complete = line.pop_if(|end| *end == b'\n').is_some();
        match (position, is_complete) {
            (0, _) if length == 0 => {}
            (0, true) => check_title(&line, fingerprint)?,
            (0, false) if length == LONGEST_LINE => return Err(no_journal()),
            (_, true) => match std::str::from_utf8(&line).ok().and_then(run_of) {
                Some(run) => found.runs.push(run),
                None => found.damaged += 1,
            },
            // The end of a line that is longer than any counts as damaged, too.
            (_, false) if length == LONGEST_LINE => found.damaged += 1,
            (_, false) => {}
        }
        if length < LONGEST_LINE && !is_complete {
            return Ok((found, whole));
        }
        position += length;
        if is_complete {
            whole = position;
        }
    }
}

fn check_title(line: &[u8], fingerprint: &str) -> io::Result<()> {
    match std::str::from_utf8(line).ok().and_then(|line| line.strip_prefix(TITLE)) {
        Some(found) if found == fingerprint => Ok(()),
        Some(_) => Err(io::Error::other(
            "belongs to other files, dispersions, seed or version: use another journal, or delete it",
        )),
        None => Err(no_journal()),
    }
}

fn no_journal() -> io::Error {
    io::Error::other("is no journal of a dispersion")
}

fn line(run: &Run) -> String {
    // The shortest decimal form of a number keeps its bits.
    let figures =
        run.figures.iter().map(|figure| figure.map_or("-".to_owned(), |figure| format!("{figure:?}")));
    let figures: Vec<String> = figures.collect();
    let body = format!("{} {} {:016x} {}", run.flight, run.number, run.digest, figures.join(" "));
    format!("{body} {:016x}\n", digest(body.as_bytes()))
}

/// Parses a line; `None` when its digest does not match.
fn run_of(line: &str) -> Option<Run> {
    let (body, check) = line.rsplit_once(' ')?;
    if u64::from_str_radix(check, 16).ok()? != digest(body.as_bytes()) {
        return None;
    }
    let mut parts = body.split(' ');
    let flight = parts.next()?.parse().ok()?;
    let number = parts.next()?.parse().ok()?;
    let digest = u64::from_str_radix(parts.next()?, 16).ok()?;
    let figure = |part: &str| if part == "-" { Some(None) } else { part.parse().ok().map(Some) };
    let figures = parts.filter(|part| !part.is_empty()).map(figure).collect::<Option<_>>()?;
    Some(Run { flight, number, digest, figures })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn run(number: u64) -> Run {
        let figures = vec![Some(0.1 + 0.2), None, Some(f64::INFINITY), Some(-0.0)];
        Run { flight: 1, number, digest: 0xfeed_0000_0000_0001, figures }
    }

    fn scratch(name: &str) -> PathBuf {
        let path = std::env::temp_dir().join(format!("aplomb-journal-{name}-{}", std::process::id()));
        let _ = std::fs::remove_file(&path);
        path
    }

    #[test]
    fn runs_come_back_bit_for_bit_and_a_half_written_line_does_not_count() {
        let path = scratch("half");
        let (journal, found) = Journal::open(&path, "f").unwrap();
        assert_eq!(found, Found::default());
        journal.add(&run(1)).unwrap();
        journal.add(&run(2)).unwrap();
        drop(journal);
        let whole = std::fs::read(&path).unwrap();
        // Truncated anywhere in the last line: the first run stays, the second is complete or absent.
        let first = whole.iter().enumerate().filter(|(_, byte)| **byte == b'\n').nth(1).unwrap().0 + 1;
        for cut in first..=whole.len() {
            std::fs::write(&path, &whole[..cut]).unwrap();
            let (journal, found) = Journal::open(&path, "f").unwrap();
            let expected = if cut == whole.len() { vec![run(1), run(2)] } else { vec![run(1)] };
            assert_eq!(found, Found { runs: expected, damaged: 0 }, "cut at {cut}");
            journal.add(&run(3)).unwrap();
            drop(journal);
            assert_eq!(read(&path, "f").unwrap().runs.last(), Some(&run(3)));
        }
        std::fs::remove_file(&path).unwrap();
    }

    #[test]
    fn altered_line_and_other_campaign_are_refused() {
        let path = scratch("altered");
        let (journal, _) = Journal::open(&path, "f").unwrap();
        journal.add(&run(1)).unwrap();
        // The file is locked.
        assert!(Journal::open(&path, "f").is_err());
        drop(journal);
        assert!(read(&path, "g").unwrap_err().to_string().contains("other files"));
        let text = std::fs::read_to_string(&path).unwrap().replace("inf", "nan");
        std::fs::write(&path, text).unwrap();
        assert_eq!(read(&path, "f").unwrap(), Found { runs: Vec::new(), damaged: 1 });
        std::fs::write(&path, "name = 1\n").unwrap();
        assert!(read(&path, "f").unwrap_err().to_string().contains("no journal"));
        std::fs::remove_file(&path).unwrap();
    }
    #[test]
    fn damaged_bytes_cost_their_line_only_and_are_counted() {
        let path = scratch("damaged");
        let (journal, _) = Journal::open(&path, "f").unwrap();
        (1..=3).for_each(|number| journal.add(&run(number)).unwrap());
        drop(journal);
        let good = std::fs::read(&path).unwrap();
        let ends: Vec<usize> =
            good.iter().enumerate().filter(|(_, byte)| **byte == b'\n').map(|(i, _)| i).collect();
        // Not UTF-8, in the line of the second run.
        let mut bytes = good.clone();
        bytes[ends[1] + 3..ends[2] - 2].fill(0xff);
        std::fs::write(&path, &bytes).unwrap();
        let expected = Found { runs: vec![run(1), run(3)], damaged: 1 };
        assert_eq!(read(&path, "f").unwrap(), expected);
        assert_eq!(Journal::open(&path, "f").unwrap().1, expected);
        // A line without an end, longer than any.
        let long = [&good[..=ends[1]], &vec![b'x'; 2 * LONGEST_LINE as usize], &good[ends[1]..]].concat();
        std::fs::write(&path, long).unwrap();
        let found = read(&path, "f").unwrap();
        assert_eq!(found.runs, [run(1), run(2), run(3)]);
        assert!(found.damaged > 0);
        std::fs::write(&path, vec![0; 2 * LONGEST_LINE as usize]).unwrap();
        assert!(read(&path, "f").unwrap_err().to_string().contains("no journal"));
        std::fs::remove_file(&path).unwrap();
    }
}
