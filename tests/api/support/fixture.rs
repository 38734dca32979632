//! The world in which every test begins: written once into the template, with ids that never change.
//!
//! Juniper Ridge is a unit in mid-season with five unit roles and three troops; Heron Slough is another unit, of which
//! nobody in Juniper Ridge may see anything. All of it is invented.

use chrono::{DateTime, NaiveDate, Utc};
use sqlx::postgres::PgConnection;
use uuid::Uuid;

/// What the template is made of.
pub const SOURCE: &str = concat!(include_str!("fixture.rs"), include_str!("../../../api/seasons/policy/shipped.json"));

/// When a test begins, by the season's clock: a Tuesday morning (10:00 in the season's zone, America/Chicago).
pub const START: &str = "2040-01-10T16:00:00Z";

/// [`START`] as an instant.
pub fn start() -> DateTime<Utc> {
    START.parse().expect("an instant")
}

const fn id(number: u128) -> Uuid {
    Uuid::from_u128(0x0198_c0de_0000_7000_8000_0000_0000_0000 + number)
}

/// The unit Juniper Ridge.
pub const UNIT: Uuid = id(0x1);
/// Another unit, Heron Slough.
pub const AWAY_UNIT: Uuid = id(0x2);
/// The current season of Juniper Ridge: "2040", 2039-09-01 to 2040-05-31, USD.
pub const SEASON: Uuid = id(0x11);
/// The current season of Heron Slough.
pub const AWAY_SEASON: Uuid = id(0x12);
/// Troop 0101 of Juniper Ridge: clara leads, piotr helps. 12 youths, not its first season.
pub const TROOP: Uuid = id(0x101);
/// Troop 0102: yesenia leads. 9 youths, its first season.
pub const OTHER_TROOP: Uuid = id(0x102);
/// Troop 0103: nobody coordinates it; Dov is its leader.
pub const VACANT_TROOP: Uuid = id(0x103);
/// Troop 0101 of Heron Slough: the same number in another unit.
pub const AWAY_TROOP: Uuid = id(0x201);
/// An id that nothing has.
pub const NOTHING: Uuid = id(0xfff_ffff);
/// Clara's assignment to troop 0101 (lead).
pub const CLARAS_ASSIGNMENT: Uuid = id(0x301);
/// Piotr's assignment to troop 0101.
pub const PIOTRS_ASSIGNMENT: Uuid = id(0x302);
/// Yesenia's assignment to troop 0102 (lead).
pub const YESENIAS_ASSIGNMENT: Uuid = id(0x303);
/// The away coordinator's assignment.
pub const AWAY_ASSIGNMENT: Uuid = id(0x304);
/// Dov Achterberg, leader of troop 0103, who has no account.
pub const DOV: Uuid = id(0x5ff);

/// The n-th milestone of a season; 0 is "Kits out".
pub fn milestone(season: Uuid, number: u128) -> Uuid {
    Uuid::from_u128(season.as_u128() + 0x9000 + 0x100 * number)
}

/// The grant of somebody's role.
pub fn grant(who: &Somebody) -> Uuid {
    Uuid::from_u128(who.account.as_u128() + 0x400)
}

/// A place in a unit.
#[derive(Clone, Copy, Debug)]
pub struct Place {
    pub unit: Uuid,
    pub person: Uuid,
    /// A role of the unit; none for coordinators, whose assignment is their role.
    pub role: Option<&'static str>,
}

/// Somebody who can sign in. Nobody has a password: the harness signs their tokens itself.
#[derive(Clone, Copy, Debug)]
pub struct Somebody {
    pub first_name: &'static str,
    pub last_name: &'static str,
    pub email: &'static str,
    pub phone: &'static str,
    pub membership_number: &'static str,
    pub account: Uuid,
    pub session: Uuid,
    pub place: Option<Place>,
}

macro_rules! people {
    ($($(#[$doc:meta])* $name:ident $n:literal $first:literal $last:literal $email:literal $phone:literal $place:expr;)*) => {
        $($(#[$doc])* pub const $name: Somebody = Somebody {
            first_name: $first, last_name: $last, email: $email, phone: $phone,
            membership_number: concat!("M-", stringify!($n)),
            account: id(0x400 + $n), session: id(0x700 + $n), place: place($place, $n),
        };)*
        /// Everybody who can sign in.
        pub const EVERYBODY: &[&Somebody] = &[$(&$name,)*];
    };
}

const fn place(of: Option<(Uuid, Option<&'static str>)>, number: u128) -> Option<Place> {
    match of {
        Some((unit, role)) => Some(Place { unit, person: id(0x500 + number), role }),
        None => None,
    }
}

people! {
    /// Unit manager of Juniper Ridge.
    MANAGER 1 "Noor" "Halvorsen" "noor.halvorsen@example.org" "+1 555 0101" Some((UNIT, Some("unit_manager")));
    /// Its overseer.
    OVERSEER 2 "Tobias" "Okonkwo-Lind" "tobias.ol@example.org" "+1 555 0102" Some((UNIT, Some("overseer")));
    /// Its materials coordinator.
    MATERIALS 3 "Mei" "Abara" "mei.abara@example.org" "+1 555 0103" Some((UNIT, Some("materials_coordinator")));
    /// Its distributor.
    DISTRIBUTOR 4 "Rubén" "Szalai" "ruben.szalai@example.org" "+1 555 0104" Some((UNIT, Some("distributor")));
    /// Its viewer.
    VIEWER 5 "Agnes" "Tuiasosopo" "agnes.t@example.org" "+1 555 0105" Some((UNIT, Some("viewer")));
    /// Lead coordinator of troop 0101.
    CLARA 6 "Clara" "Fontaine-Diallo" "clara.fd@example.org" "+1 555 0106" Some((UNIT, None));
    /// Co-coordinator of troop 0101.
    PIOTR 7 "Piotr" "Wanjiru" "piotr.wanjiru@example.org" "+1 555 0107" Some((UNIT, None));
    /// Lead coordinator of troop 0102.
    YESENIA 8 "Yesenia" "Bergqvist" "yesenia.b@example.org" "+1 555 0108" Some((UNIT, None));
    /// Unit manager of Heron Slough.
    STRANGER 9 "Lerato" "Vinter" "lerato.vinter@example.org" "+1 555 0109" Some((AWAY_UNIT, Some("unit_manager")));
    /// Lead coordinator of Heron Slough's troop 0101.
    AWAY_COORDINATOR 10 "Kaito" "Brandão" "kaito.brandao@example.org" "+1 555 0110" Some((AWAY_UNIT, None));
    /// Administers the server.
    ADMINISTRATOR 11 "Sunniva" "Adeyemi" "sunniva.adeyemi@example.org" "+1 555 0111" None;
}

/// Everything before the tests: long enough ago that it is in force at [`START`], by either clock.
const BEFORE: &str = "2020-01-01T00:00:00Z";

/// A statement with its parameters.
macro_rules! run {
    ($db:expr, $sql:expr $(, $bind:expr)* $(,)?) => {
        sqlx::query($sql)$(.bind($bind))*.execute(&mut *$db).await.unwrap_or_else(|error| panic!("{}: {error}", $sql))
    };
}

fn day(text: &str) -> NaiveDate {
    text.parse().expect("a date")
}

/// Fills a migrated database, as its owner.
pub async fn fill(db: &mut PgConnection) {
    let before: DateTime<Utc> = BEFORE.parse().expect("an instant");
    run!(db, "insert into cluster_clock (offset_seconds) values (0)");
    for (unit, name) in [(UNIT, "Juniper Ridge"), (AWAY_UNIT, "Heron Slough")] {
        run!(db, "insert into unit (unit_id, name, created_at, version) values ($1, $2, $3, 1)", unit, name, before);
        run!(
            db,
            "insert into unit_log_head (unit_id, seq, hash, at) values ($1, 0, decode(repeat('00', 32), 'hex'), $2)",
            unit,
            before
        );
    }
    for somebody in EVERYBODY {
        account(db, somebody, before).await;
    }
    season(db, UNIT, SEASON, before).await;
    season(db, AWAY_UNIT, AWAY_SEASON, before).await;
    troop(db, UNIT, SEASON, TROOP, "0101", ("juniors", 12_i32, false)).await;
    troop(db, UNIT, SEASON, OTHER_TROOP, "0102", ("seniors", 9_i32, true)).await;
    troop(db, UNIT, SEASON, VACANT_TROOP, "0103", ("juniors", 7_i32, false)).await;
    troop(db, AWAY_UNIT, AWAY_SEASON, AWAY_TROOP, "0101", ("juniors", 11_i32, false)).await;
    person(db, UNIT, DOV, ("Dov", "Achterberg"), None).await;
    run!(
        db,
        "insert into troop_contact (unit_id, troop_id, person_id, duty, from_at, log_seq) values ($1, $2, $3, 'leader', $4, 0)",
        UNIT,
        VACANT_TROOP,
        DOV,
        before
    );
    for (assignment, unit, season, troop, who, lead) in [
        (CLARAS_ASSIGNMENT, UNIT, SEASON, TROOP, CLARA, true),
        (PIOTRS_ASSIGNMENT, UNIT, SEASON, TROOP, PIOTR, false),
        (YESENIAS_ASSIGNMENT, UNIT, SEASON, OTHER_TROOP, YESENIA, true),
        (AWAY_ASSIGNMENT, AWAY_UNIT, AWAY_SEASON, AWAY_TROOP, AWAY_COORDINATOR, true),
    ] {
        let person = who.place.expect("a place").person;
        run!(
            db,
            "insert into assignment (unit_id, assignment_id, troop_id, season_id, person_id, lead, from_at, confirmed_at, version, log_seq)
             values ($1, $2, $3, $4, $5, $6, $7, $7, 1, 0)",
            unit, assignment, troop, season, person, lead, before
        );
    }
}

async fn account(db: &mut PgConnection, who: &Somebody, before: DateTime<Utc>) {
    run!(
        db,
        "insert into account (account_id, email, email_key, administrator, created_at, tokens_since) values ($1, $2, $2, $3, $4, $4)",
        who.account,
        who.email,
        who.place.is_none(),
        before
    );
    // Proved in a time to come: nobody is asked who they are, but where a test is about that.
    run!(
        db,
        "insert into session (session_id, account_id, created_at, expires_at, proved_at)
         values ($1, $2, $3, '2090-01-01T00:00:00Z', '2090-01-01T00:00:00Z')",
        who.session,
        who.account,
        before
    );
    let Some(place) = who.place else { return };
    person(db, place.unit, place.person, (who.first_name, who.last_name), Some(who.membership_number)).await;
    run!(
        db,
        "insert into person_contact (unit_id, person_id, email, email_key, phone, version, log_seq) values ($1, $2, $3, $3, $4, 1, 0)",
        place.unit,
        place.person,
        who.email,
        who.phone
    );
    run!(
        db,
        "insert into membership (account_id, unit_id, person_id, created_at) values ($1, $2, $3, $4)",
        who.account,
        place.unit,
        place.person,
        before
    );
    if let Some(role) = place.role {
        run!(
            db,
            "insert into role_grant (unit_id, grant_id, person_id, role, from_at, log_seq) values ($1, $2, $3, $4, $5, 0)",
            place.unit,
            grant(who),
            place.person,
            role,
            before
        );
    }
}

async fn person(db: &mut PgConnection, unit: Uuid, person: Uuid, names: (&str, &str), number: Option<&str>) {
    run!(
        db,
        "insert into person (unit_id, person_id, first_name, last_name, membership_number, version, log_seq) values ($1, $2, $3, $4, $5, 1, 0)",
        unit,
        person,
        names.0,
        names.1,
        number
    );
}

async fn season(db: &mut PgConnection, unit: Uuid, season: Uuid, before: DateTime<Utc>) {
    run!(
        db,
        "insert into season (unit_id, season_id, label, time_zone, currency, starts_on, ends_on, is_current, version, log_seq)
         values ($1, $2, '2040', 'America/Chicago', 'USD', $3, $4, true, 1, 0)",
        unit, season, day("2039-09-01"), day("2040-05-31")
    );
    let milestones = [
        ("kits_out", "Kits out", Some("2040-01-06")),
        ("opening_orders_due", "Opening orders due", Some("2040-01-26")),
        ("return_due", "Season return due", Some("2040-01-19")),
        ("delivery_day", "Delivery day", Some("2040-02-18")),
        ("sale_opens", "Sale opens", Some("2040-02-19")),
        ("sale_closes", "Sale closes", Some("2040-03-25")),
        ("close_out_due", "Close-out due", None),
    ];
    for (number, (code, title, on)) in (0_u128..).zip(milestones) {
        let milestone = milestone(season, number);
        let kind = match code {
            "kits_out" | "delivery_day" => "event",
            "sale_opens" => "opening",
            _ => "deadline",
        };
        run!(
            db,
            "insert into milestone (unit_id, milestone_id, season_id, code, title, kind, on_day, version, log_seq) values ($1, $2, $3, $4, $5, $6, $7, 1, 0)",
            unit,
            milestone,
            season,
            code,
            title,
            kind,
            on.map(day)
        );
    }
    let policy: serde_json::Value =
        serde_json::from_str(include_str!("../../../api/seasons/policy/shipped.json")).expect("the shipped policy");
    run!(
        db,
        "insert into policy_version (unit_id, season_id, version, document, made_at, made_by, log_seq) values ($1, $2, 1, $3, $4, 'system', 0)",
        unit,
        season,
        policy,
        before
    );
}

async fn troop(db: &mut PgConnection, unit: Uuid, season: Uuid, troop: Uuid, number: &str, of: (&str, i32, bool)) {
    run!(
        db,
        "insert into troop (unit_id, troop_id, number, number_key, name, kind, meeting_place, version, log_seq)
         values ($1, $2, $3, ltrim($3, '0'), 'Troop ' || $3, 'troop', 'Room ' || $3, 1, 0)",
        unit,
        troop,
        number
    );
    run!(
        db,
        "insert into troop_season (unit_id, troop_id, season_id, age_band, selling_youths, first_season, log_seq) values ($1, $2, $3, $4, $5, $6, 0)",
        unit,
        troop,
        season,
        of.0,
        of.1,
        of.2
    );
}
