//! The file of a register: how it is laid out, made and opened, and what is wrong with one that cannot be.

use std::fmt::Display;
use std::fs::{self, File, OpenOptions};
use std::io::{self, ErrorKind, Read as _, Seek as _, Write as _};
use std::path::{Path, PathBuf};
use std::time::Duration;

use rusqlite::{Connection, ErrorCode, OpenFlags};

use crate::document::diagnostic::{Code, Diagnostic};
use crate::register::salt;

/// "pblk" in ASCII: what kind of SQLite file it is.
const APPLICATION: i32 = 0x7062_6c6b;
/// The version of the layout below.
const VERSION: i32 = 2;

/// The layout. At opening it is compared word for word, so that a trigger that was dropped is noticed.
///
/// A body goes only once the last entry says so. `pile` and `person` hold nothing of their own: they are worked out from the entries.
const LAYOUT: [&str; 11] = [
    "CREATE TABLE entry(seq INTEGER PRIMARY KEY, at TEXT NOT NULL, person TEXT NOT NULL, kind TEXT NOT NULL, referral TEXT, form TEXT UNIQUE, body TEXT NOT NULL UNIQUE, previous TEXT NOT NULL UNIQUE, digest TEXT NOT NULL UNIQUE) STRICT",
    "CREATE TABLE body(digest TEXT PRIMARY KEY, text TEXT NOT NULL) STRICT",
    "CREATE TABLE pile(reference TEXT PRIMARY KEY, place INTEGER NOT NULL, day TEXT, outcome TEXT, urgency TEXT, first_reason TEXT NOT NULL, turn INTEGER NOT NULL, since TEXT NOT NULL, ask TEXT NOT NULL, asked TEXT) STRICT",
    "CREATE TABLE person(initials TEXT PRIMARY KEY, role TEXT NOT NULL, hash TEXT NOT NULL, is_on INTEGER NOT NULL) STRICT",
    "CREATE INDEX entry_of_referral ON entry(referral, seq) WHERE referral IS NOT NULL",
    "CREATE INDEX pile_in_order ON pile(place, since, reference, turn, ask)",
    "CREATE TRIGGER entry_update BEFORE UPDATE ON entry BEGIN SELECT RAISE(ABORT, 'an entry is never changed'); END",
    "CREATE TRIGGER entry_delete BEFORE DELETE ON entry BEGIN SELECT RAISE(ABORT, 'an entry is never taken out'); END",
    "CREATE TRIGGER entry_insert BEFORE INSERT ON entry WHEN NEW.seq IS NOT (SELECT coalesce(max(seq), 0) + 1 FROM entry) OR NEW.previous IS NOT coalesce((SELECT digest FROM entry ORDER BY seq DESC LIMIT 1), '0000000000000000000000000000000000000000000000000000000000000000') BEGIN SELECT RAISE(ABORT, 'not the next entry'); END",
    "CREATE TRIGGER body_update BEFORE UPDATE ON body BEGIN SELECT RAISE(ABORT, 'a body is never changed'); END",
    "CREATE TRIGGER body_delete BEFORE DELETE ON body WHEN (SELECT kind FROM entry ORDER BY seq DESC LIMIT 1) IS NOT 'body-removed' BEGIN SELECT RAISE(ABORT, 'a body is removed by an entry that says why'); END",
];

/// The right to write, held by one program at a time. The system gives it back when the program ends, however it does.
#[derive(Debug)]
pub struct WriterLock {
    _held: File,
}

/// Makes an empty register; only its owner may read it.
///
/// # Errors
/// The place is taken or cannot be written.
pub fn create(path: &Path) -> Result<(), Box<Diagnostic>> {
    local(path)?;
    whole(path, |beside| {
        let layout = LAYOUT.join(";\n");
        let made = Connection::open_with_flags(beside, OpenFlags::SQLITE_OPEN_READ_WRITE).and_then(|connection| {
            connection.pragma_update(None, "synchronous", "full")?;
            connection.execute_batch(&format!(
                "BEGIN IMMEDIATE;\n{layout};\nPRAGMA application_id = {APPLICATION};\nPRAGMA user_version = {VERSION};\nCOMMIT;"
            ))
        });
        made.map_err(|error| diagnostic(path, &error))
    })
}

/// Makes a file where nothing is: `fill` fills it under another name, and it gets its own once it is whole and on the disk.
/// Whatever stops that, the place holds nothing that could be taken for a register, and another try is not refused.
///
/// # Errors
/// The place is taken or cannot be written, or what `fill` says.
pub fn whole(
    path: &Path,
    fill: impl FnOnce(&Path) -> Result<(), Box<Diagnostic>>,
) -> Result<(), Box<Diagnostic>> {
    let shown = path.display();
    let unwritable = |error: &dyn Display| {
        let title = format!("`{shown}` cannot be made: {error}");
        Box::new(Diagnostic::bare(Code::RegisterUnwritable, title))
    };
    let there = || {
        let title = format!("`{shown}` is there already");
        Box::new(Diagnostic::bare(Code::RegisterThere, title))
    };
    if path.symlink_metadata().is_ok() {
        return Err(there());
    }
    // Not by the number of the process, which in a container is that of the one before it.
    let name = salt().map_err(|it| unwritable(&it))?;
    let beside = beside(path, &format!(".{name}.part"));
    let mut options = OpenOptions::new();
    options.write(true).create_new(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    options.open(&beside).map_err(|it| unwritable(&it))?;
    let made = fill(&beside).and_then(|()| {
        named(&beside, path).map_err(|error| match error.kind() {
            ErrorKind::AlreadyExists => there(),
            _ => unwritable(&error),
        })
    });
    if made.is_err() {
        let _ = fs::remove_file(&beside);
    }
    made
}

/// Gives a file its name, on the disk, never over another one.
fn named(beside: &Path, path: &Path) -> io::Result<()> {
    File::open(beside)?.sync_all()?;
    match fs::hard_link(beside, path) {
        Ok(()) => fs::remove_file(beside)?,
        Err(error) if error.kind() == ErrorKind::AlreadyExists => return Err(error),
        // Not every file system knows second names: there, two who make the same file at the same instant are not kept apart.
        Err(_) => fs::rename(beside, path)?,
    }
    if cfg!(unix) {
        File::open(folder(path))?.sync_all()?;
    }
    Ok(())
}

fn folder(path: &Path) -> &Path {
    path.parent()
        .filter(|it| !it.as_os_str().is_empty())
        .unwrap_or(Path::new("."))
}

/// The file of a register that is open.
#[derive(Debug)]
pub struct OpenFile {
    /// The connection to it.
    pub connection: Connection,
    /// Whether it is read as it lies: it or its folder cannot be written, and it has no log.
    pub is_as_it_lies: bool,
}

/// Opens a register and looks whether it is one.
///
/// # Errors
/// It is not there, no register, newer, or changed.
pub fn open(path: &Path, writing: bool) -> Result<OpenFile, Box<Diagnostic>> {
    match opened(path, writing)? {
        (file, None) => Ok(file),
        (_, Some(fault)) => Err(fault),
    }
}

/// Opens a register to look what is wrong with it: one whose layout was changed is read all the same, and the change told.
///
/// # Errors
/// It is not there, no register, or newer.
pub fn open_to_check(path: &Path) -> Result<(OpenFile, Option<Diagnostic>), Box<Diagnostic>> {
    match opened(path, false)? {
        (file, None) => Ok((file, None)),
        (file, Some(fault)) if fault.code == Code::RegisterLayout => Ok((file, Some(*fault))),
        (_, Some(fault)) => Err(fault),
    }
}

/// A register, and why it should not be used.
type Opened = (OpenFile, Option<Box<Diagnostic>>);

fn opened(path: &Path, writing: bool) -> Result<Opened, Box<Diagnostic>> {
    let shown = path.display();
    must_be_there(path)?;
    let flags = if writing {
        OpenFlags::SQLITE_OPEN_READ_WRITE
    } else {
        OpenFlags::SQLITE_OPEN_READ_ONLY
    };
    let mut is_as_it_lies = false;
    let mut tried = Connection::open_with_flags(path, flags).and_then(|it| looked_at(it, writing));
    if let Err(error) = &tried
        && !writing
        && lacks_room(error)
        && File::open(path).is_ok()
    {
        // INVARIANT: where a writer is at work or was stopped there is a log, and what it holds is not left out.
        if let Some(log) = log(path) {
            let log = log.display();
            let title = format!(
                "`{shown}` has a log beside it, and cannot be read where nothing can be written"
            );
            return Err(Box::new(Diagnostic::bare(Code::RegisterUnwritable, title).help(
                format!("What happened last stands in `{log}`: copy both files into a folder that can be written."),
            )));
        }
        is_as_it_lies = true;
        tried = as_it_lies(path).and_then(|it| looked_at(it, false));
    }
    let (connection, fault) = tried.map_err(|error| diagnostic(path, &error))?;
    let told = |(code, why)| Box::new(Diagnostic::bare(code, format!("`{shown}` {why}")));
    let file = OpenFile {
        connection,
        is_as_it_lies,
    };
    Ok((file, fault.map(told)))
}

fn must_be_there(path: &Path) -> Result<(), Box<Diagnostic>> {
    if path.is_file() {
        return Ok(());
    }
    let title = format!("there is no register `{}`", path.display());
    let help = "Check the spelling of the path; `preblock register new` makes a register.";
    Err(Box::new(Diagnostic::bare(Code::NotFound, title).help(help)))
}

/// Whether SQLite lacks the room beside the file in which readers and writers tell one another what they do.
fn lacks_room(error: &rusqlite::Error) -> bool {
    matches!(
        error.sqlite_error_code(),
        Some(ErrorCode::CannotOpen | ErrorCode::ReadOnly)
    )
}

/// What a writer that was not closed left beside a register.
fn log(path: &Path) -> Option<PathBuf> {
    let logs = ["-wal", "-journal"].map(|it| beside(path, it));
    let is_there = |it: &PathBuf| it.metadata().is_ok_and(|it| it.len() > 0);
    logs.into_iter().find(is_there)
}

/// Opens a file to which nothing happens meanwhile, without locks and without anything beside it.
fn as_it_lies(path: &Path) -> rusqlite::Result<Connection> {
    let absolute = path.canonicalize().unwrap_or_else(|_| path.to_owned());
    // In an address all but these stand for something else, or might.
    let encoded: String = absolute
        .as_os_str()
        .as_encoded_bytes()
        .iter()
        .map(|byte| match byte {
            b'a'..=b'z' | b'A'..=b'Z' | b'0'..=b'9' | b'/' | b'.' | b'-' | b'_' => {
                char::from(*byte).to_string()
            }
            _ => format!("%{byte:02x}"),
        })
        .collect();
    let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_URI;
    Connection::open_with_flags(format!("file:{encoded}?immutable=1"), flags)
}

/// A connection that is prepared, and why its file is no register that can be used.
type LookedAt = (Connection, Option<(Code, String)>);

fn looked_at(connection: Connection, writing: bool) -> rusqlite::Result<LookedAt> {
    prepared(&connection, writing)?;
    let fault = fault(&connection)?;
    Ok((connection, fault))
}

/// That others than the owner may read a register, where a file has such permissions.
pub fn open_to_others(path: &Path) -> Option<Diagnostic> {
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt as _;
        let mode = path.metadata().ok()?.permissions().mode();
        (mode & 0o077 != 0).then(|| {
            let title = format!("others on this computer may open `{}`", path.display());
            Diagnostic::bare(Code::RegisterOpenToOthers, title)
        })
    }
    #[cfg(not(unix))]
    {
        let _ = path;
        None
    }
}

fn prepared(connection: &Connection, writing: bool) -> rusqlite::Result<()> {
    connection.busy_timeout(Duration::from_secs(5))?;
    for (name, value) in [
        ("synchronous", "full"),
        ("foreign_keys", "on"),
        ("recursive_triggers", "on"),
        ("trusted_schema", "off"),
        // What is removed is gone from the file, too.
        ("secure_delete", "on"),
        ("cell_size_check", "on"),
    ] {
        connection.pragma_update(None, name, value)?;
    }
    if writing {
        connection.pragma_update(None, "journal_mode", "wal")?;
    }
    Ok(())
}

/// Why a SQLite file is no register that can be used.
fn fault(connection: &Connection) -> rusqlite::Result<Option<(Code, String)>> {
    let number = |name: &str| connection.pragma_query_value(None, name, |row| row.get::<_, i32>(0));
    if number("application_id")? != APPLICATION {
        return Ok(Some((
            Code::NoRegister,
            "is a database, but no register".into(),
        )));
    }
    let version = number("user_version")?;
    if version != VERSION {
        let why =
            format!("is a register of version {version}; this program knows version {VERSION}");
        return Ok(Some((Code::RegisterVersion, why)));
    }
    let found: Vec<String> = connection
        .prepare("select sql from sqlite_schema where sql is not null order by sql")?
        .query_map([], |row| row.get(0))?
        .collect::<rusqlite::Result<_>>()?;
    let mut layout = LAYOUT.to_vec();
    layout.sort_unstable();
    let missing = layout.iter().find(|sql| !found.iter().any(|it| it == *sql));
    let added = found.iter().find(|sql| !layout.contains(&sql.as_str()));
    let named = |sql: &str| {
        sql.split(['(', ' '])
            .nth(2)
            .map_or_else(|| sql.to_owned(), str::to_owned)
    };
    Ok(match (missing, added) {
        (None, None) => None,
        (Some(sql), _) => Some((
            Code::RegisterLayout,
            format!(
                "lacks `{}` as it was made: another program changed it",
                named(sql)
            ),
        )),
        (None, Some(sql)) => Some((
            Code::RegisterLayout,
            format!(
                "holds `{}`, which no register has: another program changed it",
                named(sql)
            ),
        )),
    })
}

/// Takes the right to write, or says who has it.
///
/// # Errors
/// Another program writes; or the folder cannot be written.
pub fn lock(path: &Path, who: &str) -> Result<WriterLock, Box<Diagnostic>> {
    let shown = path.display();
    must_be_there(path)?;
    local(path)?;
    let mut options = OpenOptions::new();
    options.read(true).write(true).create(true).truncate(false);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    let unwritable = |error: &std::io::Error| {
        Box::new(Diagnostic::bare(
            Code::RegisterUnwritable,
            format!("`{shown}` cannot be written: {error}"),
        ))
    };
    let mut file = options
        .open(beside(path, "-writer"))
        .map_err(|it| unwritable(&it))?;
    if file.try_lock().is_err() {
        let mut held = String::new();
        let by = match file.read_to_string(&mut held) {
            Ok(_) if !held.is_empty() => held,
            _ => "another program".into(),
        };
        return Err(Box::new(Diagnostic::bare(
            Code::RegisterInUse,
            format!("`{shown}` is in use by {by}"),
        )));
    }
    file.set_len(0)
        .and_then(|()| file.rewind())
        .and_then(|()| write!(file, "{who} (process {})", std::process::id()))
        .map_err(|it| unwritable(&it))?;
    Ok(WriterLock { _held: file })
}

/// A file beside another one, its name longer by an ending.
pub fn beside(path: &Path, ending: &str) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(ending);
    name.into()
}

/// Refuses a place on a network drive, where that can be told: neither locks nor write-ahead logs hold there.
fn local(path: &Path) -> Result<(), Box<Diagnostic>> {
    let (Ok(folder), Ok(mounts)) = (
        folder(path).canonicalize(),
        fs::read_to_string("/proc/self/mounts"),
    ) else {
        return Ok(());
    };
    match network_drive(&mounts, &folder) {
        None => Ok(()),
        Some(kind) => Err(on_network(path, kind)),
    }
}

/// Why a register is not kept on a network drive of this kind.
pub fn on_network(path: &Path, kind: &str) -> Box<Diagnostic> {
    Box::new(Diagnostic::bare(
        Code::RegisterOnNetwork,
        format!("`{}` is on a network drive ({kind})", path.display()),
    ))
}

/// The kind of network drive on which a folder is; `None` if it is on none that is known. `mounts` is in the form of fstab(5).
pub fn network_drive<'a>(mounts: &'a str, folder: &Path) -> Option<&'a str> {
    const KINDS: [&str; 14] = [
        "nfs",
        "nfs4",
        "cifs",
        "smb3",
        "smbfs",
        "ncpfs",
        "afs",
        "ceph",
        "glusterfs",
        "fuse.glusterfs",
        "lustre",
        "fuse.sshfs",
        "fuse.rclone",
        "davfs",
    ];
    let mounted = mounts.lines().filter_map(|line| {
        let mut words = line.split(' ').skip(1);
        let place = words.next()?.replace("\\040", " ");
        let kind = words.next()?;
        folder.starts_with(&place).then_some((place.len(), kind))
    });
    // Of two at one place the later one lies on top.
    let (_, kind) = mounted.max_by_key(|(length, _)| *length)?;
    KINDS.contains(&kind).then_some(kind)
}

/// What SQLite says, in words that say what to do.
pub fn diagnostic(path: &Path, error: &rusqlite::Error) -> Box<Diagnostic> {
    let shown = path.display();
    let said = |code: Code, why: &str| Box::new(Diagnostic::bare(code, format!("`{shown}` {why}")));
    match error.sqlite_error_code() {
        Some(ErrorCode::NotADatabase) => said(Code::NoRegister, "is no database"),
        Some(ErrorCode::DatabaseCorrupt) => said(Code::RegisterDamaged, "is damaged"),
        Some(ErrorCode::DiskFull) => said(
            Code::RegisterUnwritable,
            "was not written: the disk is full",
        ),
        Some(ErrorCode::ReadOnly) => said(Code::RegisterUnwritable, "or its folder is read-only"),
        Some(ErrorCode::PermissionDenied | ErrorCode::CannotOpen) => said(
            Code::RegisterUnwritable,
            "cannot be opened: may you read and write it and its folder?",
        ),
        Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => {
            said(Code::RegisterInUse, "is in use by another program")
        }
        Some(ErrorCode::SystemIoFailure) => said(
            Code::RegisterUnwritable,
            "cannot be read or written: the disk reports a failure",
        ),
        _ => said(
            Code::RegisterDamaged,
            &format!("holds something that no register has: {error}"),
        ),
    }
}
