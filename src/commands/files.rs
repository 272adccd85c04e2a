//! Files that appear whole or not at all.

use std::io::{self, Write};
use std::path::Path;

/// Write `bytes` to a file beside `path`, then give it the name: what stood there before stays until then.
pub(super) fn write_whole(path: &Path, bytes: &[u8]) -> io::Result<()> {
    let mut file = temporary(path.parent().unwrap_or(Path::new(".")))?;
    file.write_all(bytes)?;
    file.persist(path)?;
    Ok(())
}

/// A file without a lasting name in `folder`.
pub(super) fn temporary(folder: &Path) -> io::Result<tempfile::NamedTempFile> {
    let mut builder = tempfile::Builder::new();
    builder.prefix(".stillaxis-").suffix(".tmp");
    // Temporary files are for their owner alone; what a run writes is for whom the umask says.
    #[cfg(unix)]
    builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o666));
    // The kind alone: the name of a file that only comes and goes tells nobody anything.
    builder.tempfile_in(folder).map_err(|error| error.kind().into())
}
