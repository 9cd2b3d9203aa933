//! Pictures in text: the light of a link, the front of a switch, the ratios of all switches, the
//! trail of a path.
//!
//! A glyph, a letter or a word carries every meaning; colours only repeat it.

mod front;
mod jacket;
mod light;
mod places;
mod ratios;
mod scale;
mod trail;

pub use front::front;
pub use light::light;
pub use ratios::ratios;
pub use trail::trail;
