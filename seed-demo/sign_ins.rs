//! The sign-ins: made at random when the demo is loaded, kept in one private file, printed whenever deploy/demo runs.

use std::fmt::Write as _;
use std::io::Write as _;
use std::os::unix::fs::OpenOptionsExt;
use std::path::{Path, PathBuf};

/// One person who can sign in.
pub struct SignIn {
    /// A short name, for the shell.
    pub name: &'static str,
    pub who: String,
    pub email: String,
    pub password: String,
}

/// What is printed.
pub struct Demo {
    pub address: String,
    pub unit: String,
    /// The demo's day.
    pub today: chrono::NaiveDate,
    pub sign_ins: Vec<SignIn>,
    /// The lists as they were sent, and one newer list that was not.
    pub lists: Vec<(&'static str, Vec<u8>)>,
}

/// A password of 128 random bits.
pub fn password() -> String {
    let bytes: [u8; 16] = rand::random();
    bytes.iter().fold(String::new(), |mut text, byte| {
        let _ = write!(text, "{byte:02x}");
        text
    })
}

/// Where the lists are laid out.
pub fn lists_folder(sign_ins: &Path) -> PathBuf {
    sign_ins.with_file_name("lists")
}

/// Writes the file, and the lists into a folder beside it.
pub fn write(path: &Path, demo: &Demo) -> Result<(), String> {
    let failed = |error: std::io::Error| format!("{}: {error}", path.display());
    let lists = lists_folder(path);
    std::fs::create_dir_all(&lists).map_err(failed)?;
    for (name, bytes) in &demo.lists {
        std::fs::write(lists.join(name), bytes).map_err(failed)?;
    }
    private(&path.with_extension("env"), &shell(demo, &lists)).map_err(failed)?;
    // Last: a file that is there means that the demo is loaded.
    private(path, &words(demo, &lists)).map_err(failed)
}

/// The demo was loaded before, and may be asked at another port now: the files name the address of today.
pub fn readdress(path: &Path, address: &str) -> Result<(), String> {
    let failed = |error: std::io::Error| format!("{}: {error}", path.display());
    let shell = std::fs::read_to_string(path.with_extension("env")).map_err(failed)?;
    let Some(old) = shell.lines().find_map(|line| line.strip_prefix("API=")).filter(|old| *old != address) else {
        return Ok(());
    };
    let words = std::fs::read_to_string(path).map_err(failed)?.replace(old, address);
    private(&path.with_extension("env"), &shell.replace(old, address)).map_err(failed)?;
    private(path, &words).map_err(failed)
}

/// Writes a file that only this user can read, whole or not at all.
fn private(path: &Path, text: &str) -> std::io::Result<()> {
    let unfinished = path.with_extension("new");
    let _ = std::fs::remove_file(&unfinished);
    let mut file = std::fs::File::options().write(true).create_new(true).mode(0o600).open(&unfinished)?;
    file.write_all(text.as_bytes())?;
    std::fs::rename(&unfinished, path)
}

/// Shell variables for the README's tour: what each person signs in with.
fn shell(demo: &Demo, lists: &Path) -> String {
    let mut text =
        format!("API={}\nUNIT={}\nTODAY={}\nLISTS='{}'\n", demo.address, demo.unit, demo.today, lists.display());
    let _ = writeln!(text, "LETTERS='{}'", lists.with_file_name("letters").display());
    for SignIn { name, email, password, .. } in &demo.sign_ins {
        let _ = writeln!(text, "{name}='{{\"email\": \"{email}\", \"password\": \"{password}\"}}'");
    }
    text
}

/// Prints the file.
pub fn print(path: &Path) -> Result<(), String> {
    print!("{}", std::fs::read_to_string(path).map_err(|error| format!("{}: {error}", path.display()))?);
    Ok(())
}

fn words(demo: &Demo, lists: &Path) -> String {
    let mut text = format!(
        "\nThe demo is loaded: unit Juniper Ridge, 24 troops, a season in mid-work (its clock is {} days ahead).\n\n  \
         address    {}\n  reference  {}/reference/\n  unit       {}\n  lists      {}\n\n",
        crate::days::TODAY,
        demo.address,
        demo.address,
        demo.unit,
        lists.display()
    );
    for SignIn { who, email, password, .. } in &demo.sign_ins {
        let _ = writeln!(text, "  {who:<34} {email:<34} {password}");
    }
    let _ = write!(
        text,
        "\nThree things to try (README.md has every request):\n  \
         1. As the unit manager, list where the troops stand: GET /v1/units/{unit}/standings\n  \
         2. Upload the newer list 5-newer-role-list.csv, look at its preview, apply it: three troops change.\n  \
         3. As Dmitri Volkov of troop 163, report the yearly training as done, and see that it stays unconfirmed.\n\n\
         For trying out only: nobody here needs a second factor, and everybody named is invented.\n",
        unit = demo.unit
    );
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_demo_that_is_asked_at_another_port_names_that_one() {
        let folder = std::env::temp_dir().join(format!("caselot-sign-ins-{}", std::process::id()));
        std::fs::create_dir_all(&folder).unwrap();
        let path = folder.join("sign-ins");
        std::fs::write(&path, "  address    http://127.0.0.1:8480\n").unwrap();
        std::fs::write(folder.join("sign-ins.env"), "API=http://127.0.0.1:8480\nUNIT=u\n").unwrap();
        readdress(&path, "http://127.0.0.1:9000").unwrap();
        assert_eq!(std::fs::read_to_string(&path).unwrap(), "  address    http://127.0.0.1:9000\n");
        let shell = std::fs::read_to_string(folder.join("sign-ins.env")).unwrap();
        assert_eq!(shell, "API=http://127.0.0.1:9000\nUNIT=u\n");
        std::fs::remove_dir_all(&folder).unwrap();
    }
}
