//! Journal of finished runs, one line each, written as they finish. It survives an abort.

use std::fs::{File, OpenOptions};
use std::io::{self, Read, Seek, SeekFrom, Write};
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

impl Journal {
    /// Opens or creates the journal at `path` and returns the runs in it. An incomplete last line is dropped.
    /// The file is locked.
    ///
    /// # Errors
    /// An error of the file system; a journal of another campaign; a locked journal.
    pub fn open(path: &Path, fingerprint: &str) -> io::Result<(Self, Vec<Run>)> {
        let mut file = OpenOptions::new().read(true).write(true).create(true).truncate(false).open(path)?;
        file.try_lock().map_err(|_| io::Error::other("is being written to by another run"))?;
        let mut text = String::new();
        file.read_to_string(&mut text)?;
        let whole = text.rfind('\n').map_or(0, |end| end + 1);
        file.set_len(whole as u64)?;
        file.seek(SeekFrom::End(0))?;
        if whole == 0 {
            file.write_all(format!("{TITLE}{fingerprint}\n").as_bytes())?;
        }
        let runs = parse(&text[..whole], fingerprint)?;
        Ok((Self { file: Mutex::new(file), path: path.to_owned() }, runs))
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

/// Reads the runs of a finished journal.
///
/// # Errors
/// An error of the file system; a journal of another campaign.
pub fn read(path: &Path, fingerprint: &str) -> io::Result<Vec<Run>> {
    let text = std::fs::read_to_string(path)?;
    parse(&text[..text.rfind('\n').map_or(0, |end| end + 1)], fingerprint)
}

fn parse(text: &str, fingerprint: &str) -> io::Result<Vec<Run>> {
    let mut lines = text.lines();
    match lines.next().map(|title| title.strip_prefix(TITLE)) {
        None => Ok(Vec::new()),
        Some(Some(found)) if found == fingerprint => Ok(lines.filter_map(run_of).collect()),
        Some(Some(_)) => Err(io::Error::other(
            "belongs to other files, dispersions, seed or version: use another journal, or delete it",
        )),
        Some(None) => Err(io::Error::other("is no journal of a dispersion")),
    }
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
        assert!(found.is_empty());
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
            assert_eq!(found, expected, "cut at {cut}");
            journal.add(&run(3)).unwrap();
            drop(journal);
            assert_eq!(read(&path, "f").unwrap().last(), Some(&run(3)));
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
        assert!(read(&path, "f").unwrap().is_empty());
        std::fs::write(&path, "name = 1\n").unwrap();
        assert!(read(&path, "f").unwrap_err().to_string().contains("no journal"));
        std::fs::remove_file(&path).unwrap();
    }
}
