//! Reading the settings, and saying plainly what is wrong with them.

use std::path::Path;

use figment::Figment;
use figment::error::Kind;
use figment::providers::{Env, Format, Serialized, Toml};

use super::groups::{MailSecurity, MailServer, Settings};
use crate::start::StartError;

/// What the environment names of settings begin with.
pub const ENVIRONMENT_PREFIX: &str = "CASELOT_";

/// Names with the prefix that are no settings: the path of the file itself, and what a throwaway cluster hands to tests.
const NOT_SETTINGS: [&str; 2] = ["config", "test_"];

/// The settings: defaults, then `file`, then the environment. Every fault found is in the error, not only the first.
///
/// # Errors
/// [`StartError::Configuration`] with one line a fault.
pub fn load(file: Option<&Path>) -> Result<Settings, StartError> {
    let mut figment = Figment::from(Serialized::defaults(Settings::default()));
    if let Some(path) = file {
        let text = std::fs::read_to_string(path)
            .map_err(|e| StartError::configuration(format!("settings file {}: {e}", path.display())))?;
        figment = figment.merge(Toml::string(&text));
    }
    let environment = Env::prefixed(ENVIRONMENT_PREFIX)
        .filter(|name| !NOT_SETTINGS.iter().any(|no| name.as_str().to_ascii_lowercase().starts_with(no)))
        .split("__");
    let settings: Settings = figment
        .merge(environment)
        .extract()
        .map_err(|errors| StartError::Configuration(errors.into_iter().map(|e| explain(&e)).collect()))?;
    let faults = faults(&settings);
    if faults.is_empty() { Ok(settings) } else { Err(StartError::Configuration(faults)) }
}

fn explain(error: &figment::Error) -> String {
    let at = error.path.join(".");
    match &error.kind {
        Kind::UnknownField(name, known) => {
            let group: Vec<&str> = error.path.iter().map(String::as_str).filter(|part| part != name).collect();
            let place = if group.is_empty() { "the top level".to_owned() } else { format!("[{}]", group.join(".")) };
            format!("unknown setting `{name}` in {place}; known there: {}", known.join(", "))
        }
        Kind::UnknownVariant(value, known) => format!("{at}: `{value}` is not one of {}", known.join(", ")),
        kind => format!("{at}: {kind}"),
    }
}

/// What is wrong although every single value can be read. Limits may be moved in the safe direction only.
fn faults(settings: &Settings) -> Vec<String> {
    let mut found = Vec::new();
    if settings.proxy.enabled && settings.proxy.trusted.is_empty() {
        found.push("proxy.enabled is true but proxy.trusted is empty: name the proxy's addresses, or anyone could claim to be anyone".to_owned());
    }
    if !settings.proxy.enabled && !settings.proxy.trusted.is_empty() {
        found.push(
            "proxy.trusted is set but proxy.enabled is not: set proxy.enabled = true, or remove the list".to_owned(),
        );
    }
    if settings.proxy.trusted.iter().any(|net| net.prefix_len() == 0) {
        found.push("proxy.trusted must not hold a network of every address".to_owned());
    }
    let url = &settings.server.public_url;
    if !(url.is_empty() || url.starts_with("https://") || url.starts_with("http://")) {
        found.push("server.public_url must begin with https:// (or http:// for a trial)".to_owned());
    }
    if settings.webhooks.allow_loopback && !settings.data.demo {
        found.push("webhooks.allow_loopback is for a demo (data.demo): elsewhere it would let whoever may name an address reach what runs beside this server".to_owned());
    }
    if settings.webhooks.ports.contains(&0) {
        found.push("webhooks.ports must not hold 0".to_owned());
    }
    if !(2..=500).contains(&settings.database.pool_total) {
        found.push("database.pool_total must be from 2 to 500".to_owned());
    }
    if !(1..=6_000).contains(&settings.limits.requests_per_minute) {
        found.push("limits.requests_per_minute must be from 1 to 6000".to_owned());
    }
    if !(1..=15).contains(&settings.limits.body_seconds) {
        found.push("limits.body_seconds must be from 1 to 15".to_owned());
    }
    if !(1..=30).contains(&settings.limits.stop_seconds) {
        found.push("limits.stop_seconds must be from 1 to 30".to_owned());
    }
    if settings.database.owner_url_file.is_some() && settings.database.url_file.is_none() {
        found.push(
            "database.owner_url_file is set but database.url_file is not: name both, or neither for an own database"
                .to_owned(),
        );
    }
    let servers = settings.mail.server.iter().map(|server| ("mail.server".to_owned(), server));
    let units = settings.mail.units.iter().map(|(unit, server)| (format!("mail.units.{unit}"), server));
    for (name, server) in servers.chain(units) {
        found.extend(mail_faults(server).into_iter().map(|fault| format!("{name}.{fault}")));
    }
    if let Err(e) = settings.log.level.parse::<tracing_subscriber::EnvFilter>() {
        found.push(format!("log.level: {e}"));
    }
    found
}

fn mail_faults(server: &MailServer) -> Vec<&'static str> {
    let mut found = Vec::new();
    if server.host.trim().is_empty() {
        found.push("host is empty: name the mail server, such as smtp.example.org");
    }
    if server.sender.parse::<lettre::Address>().is_err() {
        found.push("sender must be one address, such as sale@example.org");
    }
    if server.user.is_some() != server.password_file.is_some() {
        found.push("user and password_file belong together: set both, or neither");
    }
    let here = matches!(server.host.as_str(), "localhost" | "127.0.0.1" | "::1");
    if server.security == MailSecurity::None && !here {
        found.push("security = \"none\" would let everybody on the way read along: only a mail server on this machine (127.0.0.1) may do without TLS");
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    fn from(text: &str) -> Result<Settings, StartError> {
        let file = tempfile::NamedTempFile::new().unwrap();
        std::fs::write(file.path(), text).unwrap();
        load(Some(file.path()))
    }

    fn complaint(text: &str) -> String {
        from(text).unwrap_err().to_string()
    }

    #[test]
    fn nothing_set_gives_a_loopback_server_with_a_database_of_its_own() {
        let settings = from("").unwrap();
        assert!(settings.server.listen.ip().is_loopback());
        assert_eq!(settings.database.url_file, None);
        assert!(settings.accounts.second_factor_required);
    }

    #[test]
    fn the_example_file_is_accepted_and_sets_only_defaults() {
        let example = include_str!("../../deploy/caselot.example.toml");
        assert_eq!(from(example).unwrap(), Settings::default());
        let uncommented: String = example
            .lines()
            .map(|line| {
                line.strip_prefix('#').filter(|rest| !rest.starts_with(' ') && !rest.is_empty()).unwrap_or(line)
            })
            .collect::<Vec<_>>()
            .join("\n");
        assert_ne!(from(&uncommented).unwrap(), Settings::default(), "every commented example line can be switched on");
    }

    #[test]
    fn a_mistyped_setting_is_refused_and_the_known_ones_are_named() {
        let said = complaint("[server]\nlistne = '127.0.0.1:1'");
        assert!(said.contains("unknown setting `listne` in [server]") && said.contains("listen"), "{said}");
        assert!(complaint("[servre]").contains("unknown setting `servre` in the top level"));
    }

    #[test]
    fn a_proxy_without_a_list_of_trusted_addresses_is_refused() {
        assert!(complaint("[proxy]\nenabled = true").contains("proxy.trusted is empty"));
        assert!(complaint("[proxy]\nenabled = true\ntrusted = ['0.0.0.0/0']").contains("every address"));
        assert!(from("[proxy]\nenabled = true\ntrusted = ['10.1.2.0/24', '::1/128']").is_ok());
    }

    #[test]
    fn a_mail_server_is_looked_at_before_anything_is_sent() {
        let server =
            |more: &str| format!("[mail.server]\nhost = 'smtp.example.org'\nsender = 'sale@example.org'\n{more}");
        assert_eq!(from(&server("")).unwrap().mail.server.unwrap().security, MailSecurity::Starttls);
        assert!(from(&server("user = 'sale'\npassword_file = '/run/p'")).is_ok());
        assert!(complaint(&server("user = 'sale'")).contains("mail.server.user and password_file belong together"));
        assert!(complaint(&server("security = 'none'")).contains("may do without TLS"));
        assert!(
            complaint("[mail.server]\nhost = 'a'\nsender = 'nobody'")
                .contains("mail.server.sender must be one address")
        );
        let unit = "[mail.units.0198c0de-0000-7000-8000-000000000001]\nhost = ''\nsender = 'a@example.org'";
        assert!(complaint(unit).contains("host is empty"));
        assert!(complaint(&server("password = 'x'")).contains("unknown"), "a secret is no setting");
    }

    #[test]
    fn only_a_demo_may_send_to_its_own_machine() {
        assert!(complaint("[webhooks]\nallow_loopback = true").contains("data.demo"));
        assert!(from("[data]\ndemo = true\n[webhooks]\nallow_loopback = true\nports = [8443]").is_ok());
        assert!(complaint("[webhooks]\nports = [0]").contains("webhooks.ports"));
    }

    #[test]
    fn limits_move_in_the_safe_direction_only() {
        assert!(from("[limits]\nbody_seconds = 5").is_ok());
        assert!(complaint("[limits]\nbody_seconds = 60").contains("limits.body_seconds"));
        assert!(complaint("[limits]\nrequests_per_minute = 0").contains("requests_per_minute"));
    }

    #[test]
    fn a_secret_cannot_be_given_as_a_setting() {
        assert!(complaint("[keys]\nsigning_key = 'x'").contains("known there: signing_key_file"));
    }
}
