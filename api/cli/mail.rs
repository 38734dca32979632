//! The mail servers that the settings name, with their passwords read from files.

use crate::common::ids::UnitId;
use crate::mail::{Security, Transport, Transports};
use crate::settings::{Mail, MailSecurity, MailServer, secret};
use crate::start::StartError;

/// The mail servers, ready to be used.
pub(super) fn transports(settings: &Mail) -> Result<Transports, StartError> {
    let server = settings.server.as_ref().map(transport).transpose()?;
    let units = settings.units.iter().map(|(unit, server)| Ok((UnitId(*unit), transport(server)?)));
    Ok(Transports::new(server, units.collect::<Result<_, StartError>>()?))
}

fn transport(server: &MailServer) -> Result<Transport, StartError> {
    let (security, usual) = match server.security {
        MailSecurity::Tls => (Security::Tls, 465),
        MailSecurity::Starttls => (Security::StartTls, 587),
        MailSecurity::None => (Security::None, 25),
    };
    let credentials = match (&server.user, &server.password_file) {
        (Some(user), Some(file)) => Some((user.clone(), secret::read_private(file)?)),
        _ => None,
    };
    let root = match &server.root_file {
        Some(file) => Some(std::fs::read(file).map_err(StartError::io(file.display().to_string()))?),
        None => None,
    };
    Ok(Transport {
        host: server.host.clone(),
        port: server.port.unwrap_or(usual),
        security,
        credentials,
        sender: server.sender.clone(),
        root,
    })
}
