//! Every error says what happened, what to do, and that the keypad goes on.

use std::collections::HashSet;

use cpal::ErrorKind;
use sayback::edge::mic::{Fault, Form, MicDevice, MicError, Offer, choose, find};

/// All kinds of cpal 0.18.2, from its `src/error.rs`.
const KINDS: [ErrorKind; 14] = [
    ErrorKind::DeviceBusy,
    ErrorKind::DeviceChanged,
    ErrorKind::DeviceNotAvailable,
    ErrorKind::HostUnavailable,
    ErrorKind::InvalidInput,
    ErrorKind::PermissionDenied,
    ErrorKind::RealtimeDenied,
    ErrorKind::ResourceExhausted,
    ErrorKind::StreamInvalidated,
    ErrorKind::UnsupportedConfig,
    ErrorKind::UnsupportedOperation,
    ErrorKind::Xrun,
    ErrorKind::BackendError,
    ErrorKind::Other,
];

#[test]
fn every_kind_has_a_sentence_of_its_own() {
    let mut seen = HashSet::new();
    for kind in KINDS {
        let fault = Fault::from(kind);
        assert_eq!(Fault::from_code(fault.code()), Some(fault));
        let text = MicError::Device {
            device: "hw:1,0".to_owned(),
            fault,
            said: String::new(),
        }
        .to_string();
        assert!(text.starts_with("microphone hw:1,0: "), "{text}");
        assert!(text.contains("; the keypad goes on. "), "{text}");
        assert!(text.ends_with('.'), "{text}");
        assert!(!fault.remedy().is_empty());
        assert!(seen.insert(fault.happened()), "{kind:?} shares its text");
        assert_ne!(
            fault.happened(),
            "it failed in a way that this version does not know",
            "{kind:?} has no row"
        );
    }
    assert_eq!(Fault::from_code(0), None);
    assert_eq!(Fault::from_code(200), None);
}

#[test]
fn only_what_ends_the_stream_ends_it() {
    for kind in KINDS {
        let fault = Fault::from(kind);
        let stays = matches!(
            kind,
            ErrorKind::DeviceChanged | ErrorKind::RealtimeDenied | ErrorKind::Xrun
        );
        assert_eq!(fault.ends_stream(), !stays, "{kind:?}");
    }
    assert!(Fault::from(ErrorKind::Xrun).loses_sound());
    assert!(!Fault::from(ErrorKind::RealtimeDenied).loses_sound());
}

#[test]
fn what_the_system_said_is_kept() {
    let text = MicError::Device {
        device: "default".to_owned(),
        fault: ErrorKind::DeviceBusy.into(),
        said: "Device or resource busy".to_owned(),
    }
    .to_string();
    assert_eq!(
        text,
        "microphone default: another program is using it; the keypad goes on. Close that program; \
         Sayback keeps trying. (The system says: Device or resource busy)"
    );
}

fn device(id: &str, name: &str) -> MicDevice {
    MicDevice {
        id: id.to_owned(),
        name: name.to_owned(),
    }
}

#[test]
fn a_name_finds_one_microphone_or_says_which() {
    let there = [
        device("hw:CARD=0,DEV=0", "Headset"),
        device("plughw:CARD=0,DEV=0", "Headset, Mono"),
        device("pulse", "Sound server"),
    ];
    assert_eq!(find("pulse", &there), Ok(2));
    assert_eq!(find("headset", &there), Ok(0), "the whole name comes first");
    assert_eq!(find("MONO", &there), Ok(1));
    let several = find("heads", &there).unwrap_err().to_string();
    assert!(
        several.contains("hw:CARD=0,DEV=0, plughw:CARD=0,DEV=0"),
        "{several}"
    );
    let none = find("boom", &there).unwrap_err().to_string();
    assert!(none.contains("pulse"), "{none}");
    assert!(find("", &there).is_err(), "an empty name is no name");
    assert!(find("x", &[]).unwrap_err().to_string().contains("nothing"));
}

#[test]
fn the_format_is_what_the_ear_takes_best() {
    let offer = |channels, low, high, form| Offer {
        channels,
        rates: (low, high),
        form,
    };
    let wide = [
        offer(2, 8_000, 192_000, Some(Form::I32)),
        offer(2, 8_000, 192_000, Some(Form::I16)),
        offer(1, 8_000, 192_000, Some(Form::F32)),
    ];
    assert_eq!(choose(&wide, Some(48_000)), Some((1, 16_000, Form::F32)));
    let card = [
        offer(2, 44_100, 44_100, Some(Form::I16)),
        offer(2, 48_000, 48_000, Some(Form::I16)),
        offer(2, 96_000, 96_000, Some(Form::I32)),
    ];
    assert_eq!(choose(&card, Some(44_100)), Some((2, 44_100, Form::I16)));
    assert_eq!(
        choose(&card, Some(96_000)),
        Some((2, 48_000, Form::I16)),
        "its own rate is above what the ear takes"
    );
    assert_eq!(choose(&card, None), Some((2, 48_000, Form::I16)));
    let phone = [offer(1, 8_000, 8_000, Some(Form::U16))];
    assert_eq!(choose(&phone, None), Some((1, 8_000, Form::U16)));
    assert_eq!(
        choose(&[offer(1, 96_000, 192_000, Some(Form::I16))], None),
        None
    );
    assert_eq!(
        choose(&[offer(1, 4_000, 6_000, Some(Form::I16))], None),
        None
    );
    assert_eq!(choose(&[offer(1, 16_000, 16_000, None)], None), None);
    assert_eq!(
        choose(&[offer(0, 16_000, 16_000, Some(Form::I16))], None),
        None
    );
}
