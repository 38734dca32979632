//! First names that are used for one another. From memory and common knowledge, no source; both sides are folded.

use std::collections::HashMap;
use std::sync::LazyLock;

/// Names of one group may stand for each other. A short form may be in several groups.
const GROUPS: &[&[&str]] = &[
    &["alexander", "alex", "al", "sandy", "xander", "alec", "sasha"],
    &["alexandra", "alex", "sandra", "sandy", "lexi", "sasha", "alexandria"],
    &["andrew", "andy", "drew"],
    &["anthony", "tony", "antonio"],
    &["barbara", "barb", "babs", "bobbie"],
    &["benjamin", "ben", "benny", "benji"],
    &[
        "catherine",
        "katherine",
        "kathryn",
        "katharine",
        "cathy",
        "kathy",
        "kate",
        "katie",
        "kat",
        "kit",
        "kitty",
        "cate",
        "katy",
    ],
    &["charles", "charlie", "chuck", "chas"],
    &["charlotte", "charlie", "lottie"],
    &["christina", "christine", "kristina", "kristine", "chris", "chrissy", "tina", "kris"],
    &["christopher", "chris", "kit", "topher"],
    &["cynthia", "cindy"],
    &["daniel", "dan", "danny"],
    &["danielle", "dani"],
    &["david", "dave", "davy"],
    &["deborah", "debra", "deb", "debbie", "debby"],
    &["dorothy", "dot", "dottie", "dolly"],
    &["edward", "ed", "eddie", "ted", "ned"],
    &["eleanor", "ellie", "nell", "nora", "ella", "elinor"],
    &[
        "elizabeth",
        "elisabeth",
        "liz",
        "lizzie",
        "beth",
        "betty",
        "betsy",
        "eliza",
        "libby",
        "lisa",
        "ellie",
        "liza",
        "lizbeth",
    ],
    &["emily", "em", "emmy"],
    &["eugene", "gene"],
    &["florence", "flo", "flora"],
    &["frances", "fran", "frannie", "francie"],
    &["francis", "frank", "frankie"],
    &["francisco", "frank", "paco", "pancho", "cisco"],
    &["frederick", "fred", "freddie", "fritz"],
    &["gabriel", "gabe"],
    &["gabriella", "gabrielle", "gabby", "ella"],
    &["gerald", "gerry", "jerry"],
    &["gregory", "greg"],
    &["guadalupe", "lupe"],
    &["harold", "harry", "hal"],
    &["henry", "harry", "hank", "hal"],
    &["isabel", "isabella", "isabelle", "bella", "izzy", "belle"],
    &["jacob", "jake", "jakob"],
    &["jacqueline", "jackie", "jacqui"],
    &["james", "jim", "jimmy", "jamie"],
    &["janet", "jan"],
    &["jeffrey", "geoffrey", "jeff", "geoff"],
    &["jennifer", "jen", "jenny", "jenn"],
    &["jessica", "jess", "jessie"],
    &["jesus", "chuy"],
    &["john", "jack", "johnny", "jon"],
    &["jonathan", "jon", "jonny", "nathan"],
    &["jose", "pepe", "joe"],
    &["joseph", "joe", "joey", "jo"],
    &["josephine", "jo", "josie"],
    &["joshua", "josh"],
    &["judith", "judy", "judi"],
    &["kenneth", "ken", "kenny"],
    &["kimberly", "kim"],
    &["lawrence", "laurence", "larry", "laurie"],
    &["leonard", "leo", "len", "lenny"],
    &["louis", "lou", "louie", "lewis"],
    &["margaret", "maggie", "meg", "peggy", "marge", "margie", "greta", "rita", "maisie", "daisy"],
    &["maria", "mary", "mia"],
    &["matthew", "matt"],
    &["maximilian", "max"],
    &["megan", "meg"],
    &["melissa", "mel", "missy"],
    &["michael", "mike", "mick", "mickey", "micky", "mikey"],
    &["michelle", "shelly", "mich"],
    &["mohammed", "muhammad", "mohamed", "mo", "mohammad", "muhammed"],
    &["nancy", "nan", "ann"],
    &["natalie", "nat"],
    &["nathaniel", "nathan", "nate", "nat"],
    &["nicholas", "nick", "nicky", "nico", "nicolas"],
    &["nicole", "nicky", "nikki", "nicola"],
    &["pamela", "pam"],
    &["patricia", "pat", "patty", "tricia", "trish", "patti"],
    &["patrick", "pat", "paddy", "rick"],
    &["peter", "pete"],
    &["philip", "phillip", "phil", "pip"],
    &["rachel", "rae", "rach"],
    &["raymond", "ray"],
    &["rebecca", "becky", "becca", "beck"],
    &["richard", "rick", "dick", "rich", "richie", "ricky"],
    &["robert", "bob", "rob", "bobby", "robbie", "bert"],
    &["roberta", "bobbie", "robbie"],
    &["ronald", "ron", "ronnie"],
    &["rosemary", "rose", "rosie", "romy"],
    &["samantha", "sam", "sammy"],
    &["samuel", "sam", "sammy"],
    &["sarah", "sara", "sally", "sadie"],
    &["stephanie", "steph", "steffi"],
    &["stephen", "steven", "steve", "stevie"],
    &["susan", "susanne", "susanna", "suzanne", "sue", "susie", "suzy"],
    &["theodore", "ted", "theo", "teddy"],
    &["theresa", "teresa", "terri", "terry", "tess", "tessa"],
    &["thomas", "tom", "tommy"],
    &["timothy", "tim", "timmy"],
    &["valerie", "val"],
    &["veronica", "ronnie", "vero"],
    &["victoria", "vicky", "vicki", "tori", "vic"],
    &["vincent", "vince", "vinny"],
    &["virginia", "ginny", "ginger"],
    &["walter", "walt", "wally"],
    &["william", "bill", "will", "billy", "liam", "willy"],
    &["yolanda", "yoli"],
    &["zachary", "zach", "zack", "zac"],
];

/// The groups of each name.
static GROUPS_OF: LazyLock<HashMap<&str, Vec<usize>>> = LazyLock::new(|| {
    let mut groups_of: HashMap<&str, Vec<usize>> = HashMap::new();
    for (place, name) in
        GROUPS.iter().enumerate().flat_map(|(place, group)| group.iter().map(move |name| (place, name)))
    {
        groups_of.entry(name).or_default().push(place);
    }
    groups_of
});

/// The places of the groups that a folded first name stands in: two names that share one are short for one another.
#[must_use]
pub fn groups_of(name: &str) -> &'static [usize] {
    GROUPS_OF.get(name).map_or(&[], Vec::as_slice)
}

/// True when the two folded first names are one, or stand in one group.
#[must_use]
pub fn same_or_short(one: &str, other: &str) -> bool {
    one == other || groups_of(one).iter().any(|group| groups_of(other).contains(group))
}
