//! What the summary tells the person who answers for the work. It claims no conformity.

/// Before the machine starts.
pub const CAUTIONS: [&str; 10] = [
    "This plan steers a machine that drives without a driver and can hurt people and animals. Whoever signs \
     below answers for letting it start.",
    "The plan does not replace the machine's own protective functions: emergency stops, obstacle detection, \
     bumpers, remote stop, loss-of-position stop. Test them before work as the manual says.",
    "Walk round every field on the day of work, before the machine starts. Look for what the plan cannot know: \
     people, animals, new posts, wires, ditches, washed-out or soft ground, stones, parked machines.",
    "Keep bystanders away, children above all, and put up warning signs at every way in. Stop the machine when \
     anyone comes near.",
    "Public ways, their edges and rights of way across the field: the machine stays off them unless the law and \
     a licensed person allow it.",
    "Overhead lines and buried cables, pipes and drains: ask their owners where they run and keep the distances \
     that they require.",
    "Slopes, banks and open water: the plan is made in a plane and knows no slope. The manual's limits for tilt \
     and ground decide.",
    "Treated seed: follow the label, wear what it requires, cover every seed, pick up spills, keep seed and \
     wash water out of ditches and drains. Handling may need a licence.",
    "Survey, base station and machine must use the reference frame named here, and the base station must stand \
     where this page says. Compare one known point on the ground before the first lane.",
    "The machine's manual, local codes and licensed practice come before this page. The machine and its use must \
     meet ISO 18497 (highly automated agricultural machines) and the machinery law in force where it works; \
     nothing here claims that they do.",
];

/// What the signature stands for.
pub const SIGNATURE: &str = "I have read the cautions and the findings, compared the map with the field, and \
     walked round the field.";

/// Lines to sign on.
pub const SIGNATURE_LINES: [&str; 4] =
    ["Name", "Signature", "Place and date", "Field walked on (date, time)"];
