//! Finding PostgreSQL's programs on this machine.

use std::path::{Path, PathBuf};
use std::process::Command;

use crate::start::StartError;

/// A folder with `initdb` and `postgres`, and what they need.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Binaries {
    /// The folder.
    pub folder: PathBuf,
    /// The major version, e.g. 15.
    pub major: u32,
    /// Shared libraries beside unpacked programs, where there are some.
    pub libraries: Option<PathBuf>,
}

impl Binaries {
    /// The programs in `folder`, if it holds them and they run.
    #[must_use]
    pub fn in_folder(folder: &Path) -> Option<Self> {
        if !(folder.join("initdb").is_file() && folder.join("postgres").is_file()) {
            return None;
        }
        let folder = folder.canonicalize().ok()?;
        let libraries = unpacked_libraries(&folder);
        let mut command = Command::new(folder.join("postgres"));
        if let Some(path) = &libraries {
            command.env("LD_LIBRARY_PATH", path);
        }
        let output = command.arg("--version").output().ok()?;
        let major = major_in(&String::from_utf8_lossy(&output.stdout))?;
        Some(Self { folder, major, libraries })
    }
}

/// `deploy/get-postgres.sh` unpacks without root into `<data>/pg` and puts libraries that the system lacks in `pg/libs`.
fn unpacked_libraries(folder: &Path) -> Option<PathBuf> {
    folder.ancestors().filter(|above| above.ends_with("pg")).map(|pg| pg.join("libs")).find(|libs| libs.is_dir())
}

/// The major version in what `postgres --version` prints: `postgres (PostgreSQL) 15.18 (Debian ...)`.
fn major_in(printed: &str) -> Option<u32> {
    let after = printed.split("PostgreSQL) ").nth(1)?;
    after.split(|c: char| !c.is_ascii_digit()).next()?.parse().ok()
}

/// The programs to use: those that the settings name, `PG_BIN`, the newest in `/usr/lib/postgresql`, the `PATH`, or what
/// was unpacked into the data folder. With `wanted`, only that major version will do.
///
/// # Errors
/// [`StartError::Configuration`] saying what to install, or how to move a database of another major version.
pub fn find(setting: Option<&Path>, data: &Path, wanted: Option<u32>) -> Result<Binaries, StartError> {
    if let Some(folder) = setting {
        let found = Binaries::in_folder(folder).ok_or_else(|| {
            StartError::configuration(format!(
                "database.pg_bin: no working initdb and postgres in {}",
                folder.display()
            ))
        })?;
        return fitting(vec![found], data, wanted);
    }
    let found = candidates(data).iter().filter_map(|folder| Binaries::in_folder(folder)).collect();
    fitting(found, data, wanted)
}

fn fitting(found: Vec<Binaries>, data: &Path, wanted: Option<u32>) -> Result<Binaries, StartError> {
    let Some(first) = found.first().cloned() else {
        return Err(StartError::configuration(
            "PostgreSQL is not installed here. Install it (deploy/get-postgres.sh does, with or without root), name its folder with \
             database.pg_bin, or name a server that you run with database.url_file",
        ));
    };
    let Some(wanted) = wanted else { return Ok(first) };
    found.into_iter().find(|binaries| binaries.major == wanted).ok_or_else(|| {
        StartError::configuration(format!(
            "the database in {data} was made by PostgreSQL {wanted}, but only {have} was found. Install PostgreSQL {wanted} again, or \
             move it. With {wanted} installed and the server running:\n      pg_dump --format=custom --file=caselot.dump \"$(cat \
             {data}/private/backup.url)\"\n    then stop the server, move {data}/cluster aside, start it with {have}, and load the dump:\n      \
             pg_restore --clean --if-exists --dbname=\"$(cat {data}/private/owner.url)\" caselot.dump",
            data = data.display(),
            have = first.major
        ))
    })
}

fn candidates(data: &Path) -> Vec<PathBuf> {
    let mut folders: Vec<PathBuf> = std::env::var_os("PG_BIN").into_iter().map(PathBuf::from).collect();
    let mut installed: Vec<(u32, PathBuf)> = std::fs::read_dir("/usr/lib/postgresql")
        .into_iter()
        .flatten()
        .flatten()
        .filter_map(|entry| Some((entry.file_name().to_str()?.parse().ok()?, entry.path().join("bin"))))
        .collect();
    installed.sort_by_key(|(major, _)| std::cmp::Reverse(*major));
    folders.extend(installed.into_iter().map(|(_, folder)| folder));
    folders.extend(std::env::var_os("PATH").iter().flat_map(std::env::split_paths));
    folders.push(data.join("pg").join("bin"));
    folders
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_major_version_is_read_from_what_the_program_prints() {
        for (printed, major) in [
            ("postgres (PostgreSQL) 15.18 (Debian 15.18-0+deb12u1)\n", Some(15)),
            ("postgres (PostgreSQL) 18.1\n", Some(18)),
            ("postgres (PostgreSQL) 19devel\n", Some(19)),
            ("something else", None),
            ("", None),
        ] {
            assert_eq!(major_in(printed), major, "{printed}");
        }
    }

    #[test]
    fn a_database_of_another_major_version_is_refused_with_the_way_out() {
        let other = Binaries { folder: "/x".into(), major: 18, libraries: None };
        let said = fitting(vec![other], Path::new("/data"), Some(15)).unwrap_err().to_string();
        assert!(
            said.contains("made by PostgreSQL 15") && said.contains("only 18") && said.contains("pg_dump"),
            "{said}"
        );
    }

    #[test]
    fn the_version_of_the_existing_database_wins_over_the_newest() {
        let binaries = |major| Binaries { folder: format!("/{major}").into(), major, libraries: None };
        assert_eq!(fitting(vec![binaries(18), binaries(15)], Path::new("/d"), Some(15)).unwrap().major, 15);
        assert_eq!(fitting(vec![binaries(18), binaries(15)], Path::new("/d"), None).unwrap().major, 18);
    }

    #[test]
    fn nothing_installed_says_what_to_install() {
        assert!(fitting(Vec::new(), Path::new("/d"), None).unwrap_err().to_string().contains("deploy/get-postgres.sh"));
    }
}
