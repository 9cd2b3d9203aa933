//! Which module goes into which cage, from the sheet `fits`.

use crate::plan::Entry;
use crate::plan::Plan;
use rustc_hash::FxHashMap;

/// How a module goes into a cage, best last.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Fit {
    /// It does not.
    No,
    /// It depends on the host.
    Depends,
    /// With an adapter.
    Adapter,
    /// It does, at its own speed.
    Yes,
}

impl Fit {
    /// The word used in formulas.
    pub fn word(self) -> &'static str {
        match self {
            Self::No => "no",
            Self::Depends => "depends",
            Self::Adapter => "adapter",
            Self::Yes => "yes",
        }
    }

    /// A module that runs at its own speed in a faster cage simply fits.
    fn from_word(word: &str) -> Option<Self> {
        match word {
            "yes" | "slower" => Some(Self::Yes),
            "adapter" => Some(Self::Adapter),
            "depends" => Some(Self::Depends),
            "no" => Some(Self::No),
            _ => None,
        }
    }
}

/// What the sheet `fits` says, by lower-case module and cage.
#[derive(Debug, Clone, Default)]
pub struct Cages {
    fits: FxHashMap<(String, String), Fit>,
}

impl Cages {
    /// Reads the sheet of a plan; a later row beats an earlier one.
    pub fn of(plan: &Plan) -> Self {
        let mut fits = FxHashMap::default();
        let Some(sheet) = plan.sheet("fits") else {
            return Self::default();
        };
        let columns = ["module", "cage", "works"].map(|name| plan.def(sheet).column(name));
        let [Some(module), Some(cage), Some(works)] = columns else {
            return Self::default();
        };
        for row in plan.rows(sheet).order() {
            let text = |column| match plan.entry(sheet, column, *row) {
                Entry::Text(code) => plan.names().text(code).to_lowercase(),
                Entry::Empty | Entry::Number(_) | Entry::Wrong(_) => String::new(),
            };
            if let Some(fit) = Fit::from_word(&text(works)) {
                fits.insert((text(module), text(cage)), fit);
            }
        }
        Self { fits }
    }

    /// How the best of some module types goes into a cage; `None` where nothing is known.
    pub fn fit(&self, cage: &str, modules: &str) -> Option<Fit> {
        modules
            .split_whitespace()
            .filter_map(|module| self.fit_one(cage, module))
            .max()
    }

    fn fit_one(&self, cage: &str, module: &str) -> Option<Fit> {
        let (module, cage) = (module.to_lowercase(), cage.trim().to_lowercase());
        if module == cage {
            return Some(Fit::Yes);
        }
        let known = |name: &str| {
            self.fits
                .keys()
                .any(|(module, cage)| module == name || cage == name)
        };
        let found = self.fits.get(&(module.clone(), cage.clone())).copied();
        found.or_else(|| {
            let apart = known(&module) && known(&cage) && family(&module) != family(&cage);
            apart.then_some(Fit::No)
        })
    }
}

/// The letters of a form factor: cages of different families differ in shape.
fn family(form: &str) -> String {
    form.chars().take_while(char::is_ascii_alphabetic).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_the_table_does_not_say_is_unknown_but_for_another_shape() {
        let rows = [
            ("sfp+", "sfp28", Fit::Yes),
            ("qsfp28", "qsfp56", Fit::Yes),
            ("qsfp28", "osfp", Fit::Adapter),
        ];
        let fits = rows.map(|(module, cage, fit)| ((module.to_owned(), cage.to_owned()), fit));
        let cages = Cages {
            fits: fits.into_iter().collect(),
        };
        for (cage, modules, fit) in [
            (" SFP28 ", "SFP+", Some(Fit::Yes)),
            ("QSFP56", "SFP+", Some(Fit::No)),
            // Known both, of one shape, and no row says how they go together.
            ("SFP28", "SFP28", Some(Fit::Yes)),
            ("QSFP28", "QSFP56", None),
            // A name that stands nowhere may be of any shape.
            ("OSFP", "SFP112", None),
            ("the long cage", "SFP+", None),
            ("the long cage", "the", None),
            ("CFP8", "CFP8", Some(Fit::Yes)),
            // The best of several.
            ("OSFP", "SFP+ QSFP28", Some(Fit::Adapter)),
            ("OSFP", "QSFP28 OSFP SFP+", Some(Fit::Yes)),
            ("OSFP", "", None),
        ] {
            assert_eq!(cages.fit(cage, modules), fit, "{modules} in {cage}");
        }
    }
}
