//! Drawn stills as a user has them: read from the file that a recorder would write.

use stillaxis::phantom::{self, Drawing, Scene};
use stillaxis::stills::load::{Loaded, Recording, load};

/// Encode the drawing of `scene` by its camera and read the file; `None` where either fails.
pub fn recorded(scene: &Scene, drawing: &Drawing) -> Option<Loaded> {
    let file = tempfile::NamedTempFile::new().ok()?;
    std::fs::write(file.path(), phantom::encode(&drawing.picture, &scene.camera).ok()?).ok()?;
    load(file.path(), Recording::default()).ok()
}
