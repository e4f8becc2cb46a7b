//! A microphone that the system refuses: no permission, or in use by another program. The refusals
//! are the system's own, of the file that an ALSA `file` device reads from, so that they come
//! through the sound library as those of a card do.

use std::fs;
use std::io::{BufRead, BufReader};
use std::os::unix::fs::PermissionsExt;
use std::os::unix::process::CommandExt;
use std::path::Path;
use std::process::{Command, Stdio};

use sayback::edge::mic::{MicChoice, open};

use super::{ALSA, PCM, child as process, skipped};

/// Nobody's number: the one whom the system refuses, where the tests run as root.
const NOBODY: u32 = 65_534;

/// The child: says why the microphone cannot be opened.
pub fn child() {
    let why = open(&MicChoice::Named(PCM.to_owned()))
        .err()
        .expect("it is refused")
        .to_string();
    println!("CHECKED {why}");
}

/// What is said where the device reads from this file, as somebody who is not root.
fn said(folder: &Path, file: &Path) -> Option<String> {
    let config = folder.join("asound.conf");
    let text = format!(
        "pcm.{PCM} {{ type file slave.pcm null file /dev/null infile {} format raw\n\
         hint {{ show on description \"Refused\" }} }}\n",
        file.display()
    );
    fs::write(&config, text).expect("written");
    fs::set_permissions(folder, fs::Permissions::from_mode(0o755)).expect("open to all");
    let mut command = process("refused", &config);
    let is_root = fs::metadata("/proc/self").is_ok_and(|own| {
        use std::os::unix::fs::MetadataExt;
        own.uid() == 0
    });
    if is_root {
        command.uid(NOBODY).gid(NOBODY).env("HOME", folder);
    }
    let done = command.current_dir("/").output().ok()?;
    let all = String::from_utf8_lossy(&done.stdout).into_owned();
    let line = all.lines().find_map(|line| line.split_once("CHECKED "));
    line.map(|(_, why)| why.to_owned()).or_else(|| {
        println!("{all}\n{}", String::from_utf8_lossy(&done.stderr));
        None
    })
}

#[test]
fn without_permission_it_says_so_and_what_to_do() {
    let what = "a microphone without permission";
    if !Path::new(ALSA).exists() {
        return skipped(what, "alsa.conf is not installed");
    }
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("sound.raw");
    fs::write(&file, vec![0; 32_000]).expect("written");
    fs::set_permissions(&file, fs::Permissions::from_mode(0o000)).expect("closed");
    let Some(why) = said(folder.path(), &file) else {
        return skipped(what, "the test program cannot be run by nobody here");
    };
    println!("{why}");
    assert!(why.contains("may not record from it"), "{why}");
    assert!(why.contains("the keypad goes on"), "{why}");
}

/// A terminal that another program has for itself alone (TIOCEXCL) is busy to everybody but root.
#[test]
fn in_use_by_another_program_it_says_so_and_what_to_do() {
    let what = "a microphone in use by another program";
    if !Path::new(ALSA).exists() {
        return skipped(what, "alsa.conf is not installed");
    }
    let holder = "import fcntl, os, pty, sys, termios\n\
                  _, own = pty.openpty()\n\
                  os.chmod(os.ttyname(own), 0o666)\n\
                  fcntl.ioctl(own, termios.TIOCEXCL)\n\
                  print(os.ttyname(own), flush=True)\n\
                  sys.stdin.read()\n";
    let Ok(mut holder) = Command::new("python3")
        .args(["-c", holder])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
    else {
        return skipped(what, "python3 is not installed");
    };
    let mut name = String::new();
    let output = holder.stdout.take().expect("piped");
    BufReader::new(output).read_line(&mut name).expect("a line");
    let folder = tempfile::tempdir().expect("a folder");
    let why = said(folder.path(), Path::new(name.trim()));
    drop(holder.stdin.take());
    holder.wait().expect("it ends");
    let Some(why) = why else {
        return skipped(what, "the test program cannot be run by nobody here");
    };
    println!("{why}");
    assert!(why.contains("another program is using it"), "{why}");
    assert!(why.contains("the keypad goes on"), "{why}");
}
