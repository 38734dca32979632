//! Who is in the demo. All invented.

/// A troop of the unit.
pub struct Troop {
    pub number: &'static str,
    pub age_band: &'static str,
    pub youths: u16,
    pub first_season: bool,
    pub meets: &'static str,
}

const fn troop(
    number: &'static str,
    age_band: &'static str,
    youths: u16,
    first_season: bool,
    meets: &'static str,
) -> Troop {
    Troop { number, age_band, youths, first_season, meets }
}

/// The 24 troops.
pub const TROOPS: [Troop; 24] = [
    troop("104", "juniors", 12, false, "Community hall, back room"),
    troop("108", "juniors", 9, false, "Old fire station"),
    troop("112", "seniors", 7, false, "Library, upstairs"),
    troop("117", "starters", 14, true, "Elm Street school"),
    troop("121", "juniors", 11, false, "Community hall, kitchen"),
    troop("126", "starters", 10, true, "Elm Street school"),
    troop("133", "seniors", 6, false, "Boathouse"),
    troop("139", "juniors", 13, false, "Library, upstairs"),
    troop("145", "juniors", 8, false, "Old fire station"),
    troop("152", "seniors", 5, false, "Boathouse"),
    troop("158", "starters", 15, false, "Elm Street school"),
    troop("163", "juniors", 10, false, "Community hall, back room"),
    troop("169", "juniors", 12, false, "Town garden shed"),
    troop("172", "starters", 11, false, "Town garden shed"),
    troop("178", "seniors", 9, false, "Boathouse"),
    troop("184", "juniors", 7, false, "Library, upstairs"),
    troop("190", "juniors", 10, false, "Old fire station"),
    troop("196", "starters", 16, true, "Elm Street school"),
    troop("203", "juniors", 8, false, "Community hall, kitchen"),
    troop("207", "seniors", 6, false, "Boathouse"),
    troop("211", "starters", 9, false, "Elm Street school"),
    troop("216", "juniors", 11, false, "Old fire station"),
    troop("222", "seniors", 3, false, "Library, upstairs"),
    troop("229", "juniors", 5, false, "Town garden shed"),
];

/// Somebody who holds a role in the unit.
pub struct Holder {
    /// A short name, for the shell.
    pub name: &'static str,
    pub role: &'static str,
    pub first_name: &'static str,
    pub last_name: &'static str,
    pub email: &'static str,
}

/// The unit's manager, whom the administrator invites.
pub const MANAGER: Holder = Holder {
    name: "MANAGER",
    role: "unit_manager",
    first_name: "Imani",
    last_name: "Castellanos",
    email: "imani.castellanos@example.org",
};

/// The other roles, which the manager gives.
pub const HOLDERS: [Holder; 4] = [
    Holder {
        name: "OVERSEER",
        role: "overseer",
        first_name: "Henrik",
        last_name: "Vasquez-Lund",
        email: "henrik.vasquezlund@example.org",
    },
    Holder {
        name: "MATERIALS",
        role: "materials_coordinator",
        first_name: "Priya",
        last_name: "Oduya",
        email: "priya.oduya@example.org",
    },
    Holder {
        name: "DISTRIBUTOR",
        role: "distributor",
        first_name: "Tomasz",
        last_name: "Whitefeather",
        email: "tomasz.whitefeather@example.org",
    },
    Holder {
        name: "VIEWER",
        role: "viewer",
        first_name: "Leilani",
        last_name: "Brandt",
        email: "leilani.brandt@example.org",
    },
];

/// Coordinators who get a sign-in: a short name, the troop, and the address by which the list made them known.
pub const COORDINATORS_WHO_SIGN_IN: [(&str, &str, &str); 3] = [
    ("AMARA", "104", "amara.okafor@example.org"),
    ("AROHA", "158", "aroha.ngata@example.org"),
    ("DMITRI", "163", "dmitri.volkov@example.org"),
];

/// A second unit, so that there is something that nobody of the first may see.
pub const OTHER_UNIT: (&str, Holder) = (
    "Heron Flats",
    Holder {
        name: "STRANGER",
        role: "unit_manager",
        first_name: "Sela",
        last_name: "Marchetti",
        email: "sela.marchetti@example.org",
    },
);
