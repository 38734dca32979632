//! What the API's process needs before it can be started under another user: the program, its settings, its keys.

use std::fs::Permissions;
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};

use secrecy::SecretString;

use crate::postgres::{Ids, Layout, folder, give, replace_private};
use crate::settings::{Settings, secret};
use crate::start::StartError;

/// Copies this program to where the other users can reach it: a clone may lie below a folder that only root may enter.
pub(super) fn copy_program(layout: &Layout) -> Result<PathBuf, StartError> {
    let target = layout.program();
    let failed = || StartError::io(format!("copying this program to {}", target.display()));
    let bin = target.parent().unwrap_or(&layout.root).to_path_buf();
    folder(&bin, 0o755, None)?;
    let own = std::env::current_exe().map_err(failed())?;
    if own == target {
        return Ok(target);
    }
    let fresh = bin.join("caselot.new");
    std::fs::copy(&own, &fresh).map_err(failed())?;
    std::fs::set_permissions(&fresh, Permissions::from_mode(0o755)).map_err(failed())?;
    std::fs::rename(&fresh, &target).map_err(failed())?;
    Ok(target)
}

/// Writes the API's own copies of its settings, database address, keys and mail passwords, readable by its user only, and returns the
/// path of the settings. It never sees the owner's address.
pub(super) fn hand_over(
    settings: &Settings,
    layout: &Layout,
    runtime: &SecretString,
    api: Ids,
) -> Result<PathBuf, StartError> {
    let own = layout.api();
    let place = |name: &str, text: &SecretString| -> Result<PathBuf, StartError> {
        let path = own.join(name);
        replace_private(&path, text)?;
        give(&path, Some(api))?;
        Ok(path)
    };
    let copy = |name: &str, from: &Option<PathBuf>| -> Result<Option<PathBuf>, StartError> {
        from.as_deref().map(|path: &Path| secret::read(path).and_then(|text| place(name, &text))).transpose()
    };
    let mut theirs = settings.clone();
    theirs.data.folder = Some(layout.root.clone());
    theirs.database.url_file = Some(place("runtime.url", runtime)?);
    theirs.database.owner_url_file = None;
    theirs.database.backup_url_file = None;
    theirs.keys.signing_key_file = copy("configured.key", &settings.keys.signing_key_file)?;
    theirs.keys.previous_signing_key_file = copy("configured-previous.key", &settings.keys.previous_signing_key_file)?;
    theirs.keys.sealing_key_file = copy("configured-sealing.key", &settings.keys.sealing_key_file)?;
    let servers = theirs.mail.server.iter_mut().map(|server| ("server".to_owned(), server));
    let units = theirs.mail.units.iter_mut().map(|(unit, server)| (unit.to_string(), server));
    for (name, server) in servers.chain(units) {
        if let Some(file) = &server.password_file {
            server.password_file = Some(place(&format!("mail-{name}.password"), &secret::read_private(file)?)?);
        }
        if let Some(file) = &server.root_file {
            let root = std::fs::read_to_string(file).map_err(StartError::io(file.display().to_string()))?;
            server.root_file = Some(place(&format!("mail-{name}.pem"), &SecretString::from(root))?);
        }
    }
    let text = serde_json::to_string_pretty(&theirs)
        .map_err(|e| StartError::Failed(format!("writing the API's settings: {e}")))?;
    place("settings.json", &SecretString::from(text))
}
