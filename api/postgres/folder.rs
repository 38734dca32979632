//! The data folder: what lies where, and whose it is.
//!
//! ```text
//! <data>/private/   0700  root, or the one user: passwords of the database's superuser, owner and backup roles
//! <data>/api/       0700  the API's user: its database address, signing key, settings, uploaded files
//! <data>/cluster/   0700  the cluster's user: PostgreSQL's files
//! <data>/run/             sockets, the lock
//! <data>/bin/             a copy of this program when started as root, since a clone may lie below a private folder
//! <data>/pg/              PostgreSQL's programs, if deploy/get-postgres.sh unpacked them here
//! ```

use std::fs::{DirBuilder, File, Permissions};
use std::os::unix::fs::{DirBuilderExt, PermissionsExt};
use std::path::{Path, PathBuf};
use std::process::Command;

use crate::settings::Settings;
use crate::start::StartError;

/// A user and group id.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Ids {
    /// User id, never 0.
    pub user: u32,
    /// Group id.
    pub group: u32,
}

/// The three users that share the work when the program is started as root.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Who {
    /// Runs PostgreSQL: `postgres` where that user exists, else `nobody`.
    pub cluster: Ids,
    /// Runs the API: `caselot` where that user exists, else a number of its own.
    pub api: Ids,
    /// Runs the parser of uploaded lists: `caselot-parser`, else a number of its own.
    pub parser: Ids,
}

impl Who {
    /// Looks the users up in /etc/passwd.
    #[must_use]
    pub fn look_up() -> Self {
        let passwd = std::fs::read_to_string("/etc/passwd").unwrap_or_default();
        let ids = |name: &str, else_id: u32| user_in(&passwd, name).unwrap_or(Ids { user: else_id, group: else_id });
        Self { cluster: ids("postgres", 65_534), api: ids("caselot", 64_801), parser: ids("caselot-parser", 64_802) }
    }
}

fn user_in(passwd: &str, name: &str) -> Option<Ids> {
    let line = passwd.lines().find(|line| line.split(':').next() == Some(name))?;
    let mut numbers = line.split(':').skip(2).map(str::parse);
    let (user, group) = (numbers.next()?.ok()?, numbers.next()?.ok()?);
    (user != 0).then_some(Ids { user, group })
}

/// The paths in the data folder.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Layout {
    /// The data folder itself.
    pub root: PathBuf,
    /// The users, when this process is root.
    pub who: Option<Who>,
}

impl Layout {
    /// Chooses the data folder: the setting, `/var/lib/caselot` as root, else the user's own.
    ///
    /// # Errors
    /// [`StartError::Configuration`] if there is no home folder to put it in.
    pub fn choose(settings: &Settings) -> Result<Self, StartError> {
        let is_root = rustix::process::geteuid().is_root();
        let root = match &settings.data.folder {
            Some(folder) => std::path::absolute(folder).map_err(StartError::io("data.folder"))?,
            None if is_root => PathBuf::from("/var/lib/caselot"),
            None => users_own_folder()?,
        };
        Ok(Self { root, who: is_root.then(Who::look_up) })
    }

    /// Makes the folders and gives each to its user. Safe to repeat.
    ///
    /// # Errors
    /// [`StartError::Io`] naming the folder.
    pub fn make(&self) -> Result<(), StartError> {
        let (cluster, api) = (self.who.map(|who| who.cluster), self.who.map(|who| who.api));
        folder(&self.root, 0o711, None)?;
        if self.who.is_some() {
            passable(&self.root)?;
        }
        folder(&self.private(), 0o700, None)?;
        folder(&self.run(), 0o711, None)?;
        folder(&self.socket(), 0o711, cluster)?;
        folder(&self.api(), 0o700, api)?;
        Ok(())
    }

    /// Takes the folder for this process, until the file that is returned is dropped.
    ///
    /// # Errors
    /// [`StartError::Failed`] if another server has it.
    pub fn lock(&self) -> Result<File, StartError> {
        let path = self.run().join("lock");
        let file = File::create(&path).map_err(StartError::io(path.display().to_string()))?;
        match file.try_lock() {
            Ok(()) => Ok(file),
            Err(_) => Err(StartError::Failed(format!("another Caselot server is running on {}", self.root.display()))),
        }
    }

    /// Passwords that the API never sees.
    #[must_use]
    pub fn private(&self) -> PathBuf {
        self.root.join("private")
    }

    /// The API's own folder.
    #[must_use]
    pub fn api(&self) -> PathBuf {
        self.root.join("api")
    }

    /// Sockets and the lock.
    #[must_use]
    pub fn run(&self) -> PathBuf {
        self.root.join("run")
    }

    /// The folder with PostgreSQL's socket.
    #[must_use]
    pub fn socket(&self) -> PathBuf {
        self.run().join("pg")
    }

    /// PostgreSQL's files.
    #[must_use]
    pub fn cluster(&self) -> PathBuf {
        self.root.join("cluster")
    }

    /// Where the supervisor listens for the API's wish to parse a list (root only).
    #[must_use]
    pub fn parser_socket(&self) -> PathBuf {
        self.run().join("parser").join("socket")
    }

    /// This program, at a path that the other users can reach (root only).
    #[must_use]
    pub fn program(&self) -> PathBuf {
        self.root.join("bin").join("caselot")
    }
}

fn users_own_folder() -> Result<PathBuf, StartError> {
    let absolute = |name: &str| std::env::var_os(name).map(PathBuf::from).filter(|path| path.is_absolute());
    absolute("XDG_DATA_HOME")
        .or_else(|| absolute("HOME").map(|home| home.join(".local").join("share")))
        .map(|folder| folder.join("caselot"))
        .ok_or_else(|| StartError::configuration("no home folder is known; set data.folder"))
}

/// Says which folder above the data folder shuts the other users out, before any of them fails without a word.
fn passable(root: &Path) -> Result<(), StartError> {
    for above in root.ancestors().skip(1) {
        let mode = std::fs::metadata(above).map_err(StartError::io(above.display().to_string()))?.permissions().mode();
        if mode & 0o001 == 0 {
            return Err(StartError::configuration(format!(
                "data.folder: started as root, the database runs as a user of its own, and {} lets no other user pass \
                 (mode {:o}). Choose a folder such as /var/lib/caselot",
                above.display(),
                mode & 0o7777
            )));
        }
    }
    Ok(())
}

/// Makes `path` with `mode` (whatever the umask) and gives it to `owner`. An existing folder is only put right.
pub(crate) fn folder(path: &Path, mode: u32, owner: Option<Ids>) -> Result<(), StartError> {
    let failed = || StartError::io(format!("the folder {}", path.display()));
    DirBuilder::new().recursive(true).mode(mode).create(path).map_err(failed())?;
    std::fs::set_permissions(path, Permissions::from_mode(mode)).map_err(failed())?;
    give(path, owner)
}

/// Gives a file or folder to `owner`, if there is one to give it to.
pub(crate) fn give(path: &Path, owner: Option<Ids>) -> Result<(), StartError> {
    let Some(ids) = owner else { return Ok(()) };
    std::os::unix::fs::chown(path, Some(ids.user), Some(ids.group))
        .map_err(StartError::io(format!("giving {} away", path.display())))
}

/// A command that runs `program` as `ids` (or as this user), and gets `signal` when the thread that starts it ends.
///
/// `setpriv` does both without unsafe code. The child is in a process group of its own: a Ctrl-C at the terminal reaches
/// this program alone, which then stops its children in the right order.
pub(crate) fn command_as(ids: Option<Ids>, signal: &str, program: &Path) -> Command {
    let mut command = Command::new("setpriv");
    if let Some(ids) = ids {
        command.arg(format!("--reuid={}", ids.user)).arg(format!("--regid={}", ids.group));
        command.args(["--clear-groups", "--inh-caps=-all", "--no-new-privs"]);
    }
    command.arg(format!("--pdeathsig={signal}")).arg(program);
    std::os::unix::process::CommandExt::process_group(&mut command, 0);
    command
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_data_folder_below_a_closed_one_is_refused_by_name() {
        let above = tempfile::tempdir().unwrap();
        let root = above.path().join("caselot");
        folder(above.path(), 0o711, None).unwrap();
        passable(&root).unwrap();
        folder(above.path(), 0o700, None).unwrap();
        let refused = passable(&root).unwrap_err().to_string();
        assert!(
            refused.contains(&format!("{} lets no other user pass (mode 700)", above.path().display())),
            "{refused}"
        );
    }

    #[test]
    fn users_come_from_the_password_file_and_root_is_never_taken() {
        let passwd = "root:x:0:0::/root:/bin/sh\npostgres:x:101:104:a,b:/var:/bin/bash\ncaselot:x:0:0::/:/bin/false\n";
        assert_eq!(user_in(passwd, "postgres"), Some(Ids { user: 101, group: 104 }));
        assert_eq!(user_in(passwd, "caselot"), None);
        assert_eq!(user_in(passwd, "post"), None);
    }

    #[test]
    fn one_data_folder_serves_one_server() {
        let temporary = tempfile::tempdir().unwrap();
        let layout = Layout { root: temporary.path().join("data"), who: None };
        layout.make().unwrap();
        let held = layout.lock().unwrap();
        assert!(layout.lock().unwrap_err().to_string().contains("another Caselot server"));
        drop(held);
        assert!(layout.lock().is_ok());
        let mode = |path: PathBuf| std::fs::metadata(path).unwrap().permissions().mode() & 0o777;
        assert_eq!((mode(layout.private()), mode(layout.api())), (0o700, 0o700));
    }
}
