//! A small schema for tests: links, switches and media of an aquarium campus.
//!
//! Only what the tests of this room and of the desk need.

use crate::plan::Plan;
use crate::problem::Problem;
use crate::sheet::AssumptionDef;
use crate::sheet::SheetDef;

const LINKS: &str = r#"
name = "links"
title = "Links"
doc = "a cable between two ports"
column = [
  { name = "id", title = "Link", doc = "", kind = "text" },
  { name = "from", title = "From", doc = "", kind = "row", to = "switches" },
  { name = "from_port", title = "Port", doc = "", kind = "text" },
  { name = "to", title = "To", doc = "", kind = "row", to = "switches" },
  { name = "to_port", title = "Port", doc = "", kind = "text" },
  { name = "role", title = "Role", doc = "", kind = "choice", choices = ["access", "uplink", "storage", "wan"] },
  { name = "speed", title = "Speed", doc = "", kind = "number", unit = "Gb/s" },
  { name = "interface", title = "Interface", doc = "", kind = "text" },
  { name = "medium", title = "Medium", doc = "", kind = "row", to = "media" },
  { name = "length", title = "Length", doc = "", kind = "number", unit = "m" },
  { name = "module", title = "Module", doc = "", kind = "text" },
  { name = "state", title = "State", doc = "", kind = "choice", choices = ["planned", "ordered", "in service", "standby", "spare", "out"] },
  { name = "measured_rx", title = "Measured", doc = "", kind = "number", unit = "dBm" },
  { name = "notes", title = "Notes", doc = "", kind = "text" },
  { name = "double", title = "Double", doc = "", kind = "number", unit = "m", formula = "2 * length" },
]
"#;

const SWITCHES: &str = r#"
name = "switches"
title = "Switches"
doc = "a switch"
column = [
  { name = "id", title = "Switch", doc = "", kind = "text" },
  { name = "building", title = "Building", doc = "", kind = "text" },
  { name = "access_ports", title = "Ports", doc = "", kind = "number" },
]
"#;

const MEDIA: &str = r#"
name = "media"
title = "Media"
doc = "a kind of cable"
reference = true
column = [
  { name = "id", title = "Medium", doc = "", kind = "text" },
  { name = "attenuation", title = "Attenuation", doc = "", kind = "number", unit = "dB/km" },
]
"#;

const RESERVE: &str = r#"
name = "reserve"
title = "Reserve"
doc = ""
unit = "dB"
value = "0.5"
source = "our own rule"
confidence = "seen"
"#;

const BASIS: &str = r#"
name = "basis"
title = "Basis"
doc = ""
text = true
value = "iso"
source = "our own rule"
confidence = "seen"
"#;

/// An empty plan.
pub(crate) fn fresh() -> Result<Plan, Problem> {
    let sheets = [LINKS, SWITCHES, MEDIA].map(|text| toml::from_str::<SheetDef>(text).unwrap());
    let assumptions = [RESERVE, BASIS].map(|text| toml::from_str::<AssumptionDef>(text).unwrap());
    let media = ["OM3", "OM4", "OS2", "Cat5e", "Cat6", "Cat6A", "G.652.D"]
        .into_iter()
        .chain(["twinax passive", "twinax active", "active optical"])
        .map(|id| vec![id.to_owned(), "3.5".to_owned()]);
    Plan::new(
        sheets.to_vec(),
        assumptions.to_vec(),
        &[("media", media.collect::<Vec<_>>())],
    )
}
