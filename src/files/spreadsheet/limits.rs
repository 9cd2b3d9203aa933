//! The limits that the reading process sets on itself before it looks at a file.

use rustix::process::Resource;
use rustix::process::Rlimit;
use rustix::process::setrlimit;

/// The most memory, in bytes of address space.
pub(super) const MEMORY: u64 = 1 << 30;

/// The most time on a processor, in seconds.
const SECONDS: u64 = 30;

/// The most open files: the three standard streams and a few of the run time.
const FILES: u64 = 16;

/// Sets all limits; `false` where the system refuses one, which is then no reason to go on.
pub fn set() -> bool {
    [
        (Resource::As, MEMORY),
        (Resource::Cpu, SECONDS),
        (Resource::Fsize, 0),
        (Resource::Nofile, FILES),
        (Resource::Core, 0),
    ]
    .into_iter()
    .all(|(resource, most)| {
        let limit = Rlimit {
            current: Some(most),
            maximum: Some(most),
        };
        setrlimit(resource, limit).is_ok()
    })
}
