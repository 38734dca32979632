//! `caselot clock`: a demo can live through five seasons in an evening.

use std::process::ExitCode;

use sqlx::Connection;

use super::commands::ClockArguments;
use super::run::{addresses, block_on};
use crate::postgres::{self, move_clock};
use crate::settings::Settings;
use crate::start::StartError;

pub(super) fn run(settings: &Settings, arguments: &ClockArguments) -> Result<ExitCode, StartError> {
    let owner =
        addresses(settings)?.owner.ok_or_else(|| StartError::configuration("database.owner_url_file is not set"))?;
    let offset = block_on(async {
        let doing = "moving the clock";
        let mut connection = postgres::connect(&owner).await?;
        let offset =
            move_clock(&mut connection, arguments.forwards.unwrap_or(0)).await.map_err(StartError::sql(doing))?;
        connection.close().await.map_err(StartError::sql(doing))?;
        Ok(offset)
    })?;
    let Some(seconds) = offset else {
        return Err(StartError::Failed(
            "this database was not made as a demo or for a test: its clock cannot be moved".to_owned(),
        ));
    };
    println!(
        "this database's clock is {} days, {} hours, {} minutes ahead",
        seconds / 86_400,
        seconds % 86_400 / 3_600,
        seconds % 3_600 / 60
    );
    Ok(ExitCode::SUCCESS)
}

/// `90s`, `15m`, `36h` or `3d` as seconds; forwards only, ten years at most.
pub(super) fn seconds_in(text: &str) -> Result<i64, String> {
    let wrong = || format!("`{text}` is not a time such as 90s, 15m, 36h or 3d");
    let unit = text.chars().last().ok_or_else(wrong)?;
    let seconds = match unit {
        's' => 1,
        'm' => 60,
        'h' => 3_600,
        'd' => 86_400,
        _ => return Err(wrong()),
    };
    let number: u32 = text.strip_suffix(unit).unwrap_or_default().parse().map_err(|_| wrong())?;
    let total = i64::from(number) * seconds;
    if total > 3_653 * 86_400 { Err("more than ten years at once".to_owned()) } else { Ok(total) }
}

#[cfg(test)]
mod tests {
    use super::seconds_in;

    #[test]
    fn times_are_a_number_and_a_unit_and_go_forwards_only() {
        for (text, seconds) in [("90s", 90), ("15m", 900), ("36h", 129_600), ("3d", 259_200), ("0d", 0)] {
            assert_eq!(seconds_in(text), Ok(seconds), "{text}");
        }
        for text in ["", "d", "-3d", "3", "3w", "1.5h", "4000d", "3 d", "9999999999d", "3é"] {
            assert!(seconds_in(text).is_err(), "{text}");
        }
    }
}
