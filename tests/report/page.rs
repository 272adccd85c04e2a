//! The page.

use crate::fixture::{Scene, all_kinds};
use stillaxis::record::{CaseRecord, CaseView, Program, Record, RefusalCode};
use stillaxis::report::overlay::draw;
use stillaxis::report::page::{StillPicture, embedded_picture, write};

fn page_of(records: &[Record], jpeg: Option<&[u8]>) -> String {
    let mut out = Vec::new();
    write(&mut out, records, &[], |index, _| StillPicture {
        overlay: Some(format!("overlays/{index:04} a&b.jpg")),
        jpeg: jpeg.map(<[u8]>::to_vec),
    })
    .unwrap();
    String::from_utf8(out).unwrap()
}

#[test]
fn it_needs_nothing_else() {
    let page = page_of(&all_kinds(), Some(b"\xff\xd8\xff"));
    for outside in ["http:", "https:", "//cdn", "@import", "url(", "<link", "src=\"overlays"] {
        assert!(!page.contains(outside), "{outside}");
    }
}

#[test]
fn text_of_files_is_escaped() {
    let page = page_of(&all_kinds(), None);
    assert!(!page.contains("<script>alert"));
    assert!(page.contains("&lt;script&gt;alert(1)"));
    assert!(page.contains("p&lt;7&gt;") && page.contains("stills &lt;i&gt;/"));
    assert!(page.contains("overlays/0003%20a%26b.jpg"));
    assert_eq!(page.matches("<script>").count(), 1);
}

/// Every element that is opened is closed, in order, but those of HTML that have no end.
#[test]
fn elements_are_balanced() {
    let page = page_of(&all_kinds(), Some(b"\xff\xd8\xff"));
    let style_and_script = ["<style>", "<script>"];
    let mut rest = page.as_str();
    let mut open: Vec<&str> = Vec::new();
    while let Some(start) = rest.find('<') {
        let end = start + rest[start..].find('>').unwrap();
        let tag = &rest[start..=end];
        let name = tag.trim_matches(['<', '>', '/']).split_whitespace().next().unwrap();
        if let Some(closed) = tag.strip_prefix("</") {
            assert_eq!(open.pop(), closed.strip_suffix('>'), "at {}", &page[..page.len() - rest.len() + end]);
        } else if !tag.ends_with("/>") && !tag.starts_with("<!") && !["meta", "img", "br"].contains(&name) {
            open.push(name);
        }
        rest = &rest[end + 1..];
        if style_and_script.contains(&tag) {
            rest = &rest[rest.find("</").unwrap()..];
        }
    }
    assert!(open.is_empty(), "{open:?}");
}

#[test]
fn it_says_what_was_found_and_what_to_do() {
    let records = all_kinds();
    let page = page_of(&records, None);
    for words in [
        "<h1>Toric lens alignment</h1>",
        "21 stills: 10 measured, 10 refused, 1 unreadable",
        "A figure from one still is not a reason to operate.",
        "Not a medical device.",
        "<strong class=\"error\">+2.4°</strong><span>2.4° counter-clockwise of the intended axis</span>",
        "+1.1° to +3.7°",
        "14.5° clockwise of the intended axis",
        "90.0° across the intended axis",
        "<strong>What to do: </strong>use a still in which the marks can be seen without glare",
        "case 12, patient p&lt;7&gt;, eye OD",
        "white-to-white assumed 11.7 mm",
        "stillaxis 0.1.0",
        "Residual cylinder",
    ] {
        assert!(page.contains(words), "{words}");
    }
    assert_eq!(page.matches("<tr data-outcome=").count(), records.len());
    assert!(!page.contains("lost"));
}

/// Left and right of a mirrored recording are said to be exchanged, whether or not it is measured; of a file without a
/// picture nothing is.
#[test]
fn a_mirrored_recording_is_said_to_be_shown_mirrored_back() {
    let scene = Scene::new();
    let said = |mut record: Record, mirrored: bool| {
        record.still.mirrored = mirrored;
        page_of(&[record], None)
            .matches("left and right, and the way to turn, are opposite to those on the recording")
            .count()
    };
    let refused = |code| scene.refused("a.jpg", code);
    assert_eq!([true, false].map(|mirrored| said(scene.measured("a.jpg", 31.0, 2.0), mirrored)), [1, 0]);
    assert_eq!([true, false].map(|mirrored| said(refused(RefusalCode::LensMarksMissing), mirrored)), [1, 0]);
    assert_eq!(said(refused(RefusalCode::Unreadable), true), 0);
}

/// Places are told by side, without signs; means of sizes are told from means of signed errors.
#[test]
fn a_place_has_sides_and_a_size_no_sense() {
    let view = |offset_apparent_mm, decentration_mm: Option<[f64; 2]>| CaseView {
        stills: 2,
        offset_apparent_mm,
        tilt_change_deg: 4.0,
        depth_mm: None,
        depth_sd_mm: None,
        decentration_mm,
        decentration_sd_mm: decentration_mm.map(|_| [0.051, 0.062]),
    };
    let case = |view| CaseRecord {
        schema: 1,
        case: "12".into(),
        patient: String::new(),
        eye: String::new(),
        stage: String::new(),
        stills: Vec::new(),
        warnings: Vec::new(),
        estimate: None,
        view: Some(view),
        program: Program { version: String::new(), settings: String::new() },
    };
    // Their signed mean would be 0.8.
    let records = [6.0, -4.4].map(|error| Scene::new().measured("a.jpg", 31.0, error));
    let cases = [view([-0.17, -0.07], Some([0.124, -0.2])), view([0.3, 0.042], None), view([-0.004, 0.001], None)];
    let mut out = Vec::new();
    write(&mut out, &records, &cases.map(case), |_, _| StillPicture::default()).unwrap();
    let page = String::from_utf8(out).unwrap();
    for words in [
        "<span>Apparent offset 0.17 mm left, 0.07 mm down</span>",
        "<span>Decentration 0.12 ± 0.05 mm right, 0.20 ± 0.06 mm down (SD)</span>",
        "<span>Apparent offset 0.30 mm right, 0.04 mm up</span>",
        "<span>Apparent offset 0.00 mm right, 0.00 mm up</span>",
        "<dt>Mean error, whichever way turned</dt><dd>5.2°",
    ] {
        assert!(page.contains(words), "{words}");
    }
}

/// Residuals in both planes, plan and placing told apart, the turn, the best axis, vector analysis, what is missing; each row
/// links to its part.
#[test]
fn it_says_what_a_misalignment_costs() {
    let records = all_kinds();
    let page = page_of(&records, None);
    for words in [
        "A turn is an operation of its own.",
        "href=\"#cost-1\"",
        "<section class=\"cost\" id=\"cost-1\">",
        "keratometry gives 2.00 D steep at 90",
        "0.86 D (0.70 to 1.02 D) at the cornea, 0.40 D at its intended axis",
        "+0.43/−0.86 × 126",
        "at the spectacles (12 mm, assumed)",
        "<span class=\"turn\">the turn that would undo the error: 14.5° counter-clockwise; it would win 0.46 D (95 % interval 0.30 to 0.62 D)</span>",
        "14.5° counter-clockwise, from 1:45 to 1:58 on the clock; it would win 0.46 D (95 % interval 0.30 to 0.62 D).",
        "if the lens has not turned between the still and that refraction, the least cylinder, 0.45 D, would be left with \
         the lens at 92°, −8.5° from the 100° of the still",
        "A lens that turned between still and refraction has another curve",
        "least: 0.45 D",
        "target induced 2.00 D at 180",
        "correction index 1.20",
        "Left out: an &quot;invention&quot;. It takes k_flat_d, k_steep_d in the case sheet.",
    ] {
        assert!(page.contains(words), "{words}");
    }
    let parts = page.matches("<section class=\"cost\"").count();
    assert_eq!(parts, 10, "one a measured still");
    let svg = &page[page.find("<svg ").unwrap()..page.find("</svg>").unwrap() + 6];
    let document = svg.replacen("<svg ", "<svg xmlns=\"http://www.w3.org/2000/svg\" ", 1);
    resvg::usvg::Tree::from_str(&document, &resvg::usvg::Options::default()).unwrap();
}

/// A turn that may win nothing, one that loses, one that is too little, and one without dioptres.
#[test]
fn gains_are_put_as_they_are() {
    let scene = Scene::new();
    let gain = |gain: Option<(f64, [f64; 2])>, may_gain_nothing: bool| {
        let mut record = scene.costed("a.jpg", 31.0, 2.0);
        let turn = record.turn_back.as_mut().unwrap();
        (turn.gain_d, turn.gain_interval95_d) = gain.unzip();
        turn.may_gain_nothing = may_gain_nothing;
        page_of(&[record], None)
    };
    for (page, words) in [
        (
            gain(Some((0.11, [-0.0001, 0.2])), true),
            "would win 0.11 D (95 % interval 0.00 to 0.20 D; this includes no gain).",
        ),
        (
            gain(Some((-0.2, [-0.3, -0.1])), true),
            "would lose 0.20 D (95 % interval 0.10 to 0.30 D; this includes no gain).",
        ),
        (
            gain(Some((0.05, [0.02, 0.08])), false),
            "would win 0.05 D (95 % interval 0.02 to 0.08 D); less than a refraction shows.",
        ),
        (gain(None, false), "would win 7.0 % of the cylinder (95 % interval 2.4 to 11.5 %)."),
    ] {
        assert!(page.contains(words), "{words}");
    }
}

/// The program reports; deciding is the surgeon's. Where the error may be 0, or nothing may be won, a row names no turn; where
/// one is named, the page says what a turn is, whatever the number of its stills.
#[test]
fn a_row_names_a_turn_only_where_it_would_win() {
    let scene = Scene::new();
    let turning = scene.costed("a.jpg", 31.0, 2.0);
    let mut gainless = turning.clone();
    gainless.turn_back.as_mut().unwrap().may_gain_nothing = true;
    let in_doubt = scene.costed("a.jpg", 31.0, 1.0);
    let rows = |page: &str| page.matches("class=\"turn\"").count();
    let caution = "A turn is an operation of its own.";
    for count in [1, 201] {
        for still in [&gainless, &in_doubt] {
            let page = page_of(&vec![still.clone(); count], None);
            assert_eq!(rows(&page), 0, "{count}");
        }
        let page = page_of(&[vec![in_doubt.clone(); count], vec![turning.clone()]].concat(), None);
        assert_eq!(rows(&page), 1, "{count}");
        assert!(page.find(caution).is_some_and(|at| at < page.find("class=\"turn\"").unwrap()), "{count}");
    }
    let page = page_of(&[in_doubt], None);
    assert!(
        page.contains("The 95 % interval holds 0: which way to turn is not known.") && !page.contains("it would win")
    );
    assert!(!page_of(&[scene.refused("a.jpg", RefusalCode::LensMarksMissing)], None).contains(caution));
}

/// Directions are taken in the plane of the limbus: in a squeezed picture a clock laid on the picture would be off.
#[test]
fn the_clock_is_laid_on_the_eye() {
    let page = page_of(&[Scene::new().costed("a.jpg", 31.0, 2.0)], None);
    assert!(page.contains("The clock is laid on the eye, squeeze and tilt undone"));
    let schema = serde_json::to_string(schemars::schema_for!(Record).as_value()).unwrap();
    assert!(
        !page.contains("laid on the picture") && schema.contains("a clock laid on the eye, in the plane of the limbus")
    );
}

/// Minus signs are of one kind, and several results take their columns together.
#[test]
fn figures_and_sentences_are_set_alike() {
    let mut record = Scene::new().costed("a.jpg", 31.0, 2.0);
    record.cylinder.as_mut().unwrap().residual_axis_deg = None;
    record.vector_analysis.as_mut().unwrap().magnitude_error_d = -0.4;
    let mut other = record.left_out[0].clone();
    other.result = "a dream".into();
    record.left_out.push(other);
    let page = page_of(&[record], None);
    for words in [
        "The interval leaves its axis no meaning: J0 +0.031 ± 0.011 D, J45 −0.123 ± 0.014 D",
        "magnitude of error −0.40 D",
        "a dream. They take k_flat_d, k_steep_d in the case sheet.",
    ] {
        assert!(page.contains(words), "{words}");
    }
}

/// Dioptres of a lens that cannot be carried to the cornea are said to be those of its own plane.
#[test]
fn a_gain_names_the_plane_of_the_lens() {
    let mut record = Scene::new().costed("a.jpg", 31.0, 2.0);
    record.cylinder.as_mut().unwrap().plane = "lens".into();
    assert!(
        page_of(&[record], None).contains("would win 0.46 D in the plane of the lens (95 % interval 0.30 to 0.62 D).")
    );
}

#[test]
fn many_stills_leave_the_costs_to_the_table() {
    let record = Scene::new().costed("a.jpg", 31.0, 2.0);
    let page = page_of(&vec![record; 201], None);
    assert!(!page.contains("class=\"cost\"") && !page.contains("#cost-") && page.contains("see measurements.csv"));
}

/// What the script sorts by: the size of the error and the width of the interval, nothing for stills without them.
#[test]
fn rows_can_be_sorted() {
    let scene = Scene::new();
    let records = [scene.measured("a.jpg", 31.0, -2.5), scene.refused("b.jpg", RefusalCode::LensMarksMissing)];
    let page = page_of(&records, None);
    let values: Vec<Vec<&str>> = page
        .split("<tr data-outcome=")
        .skip(1)
        .map(|row| row.split("data-v=\"").skip(1).map(|cell| cell.split('"').next().unwrap()).collect())
        .collect();
    assert_eq!(values, [vec!["0", "0", "2.5000", "2.6000"], vec!["1", "1"]]);
    assert_eq!(page.matches("<th scope=\"col\" data-sort>").count(), 4);
    assert!(page.contains("aria-sort") && page.contains("<div class=\"controls\" hidden>"));
}

#[test]
fn a_still_without_a_picture_has_no_link() {
    let mut out = Vec::new();
    let record = Scene::new().refused("stills/none.jpg", RefusalCode::Unreadable);
    write(&mut out, &[record], &[], |_, _| StillPicture::default()).unwrap();
    let page = String::from_utf8(out).unwrap();
    assert!(page.contains("<tr data-outcome=\"unreadable\"><td></td>"), "{page}");
}

/// Pictures are asked for in order, one at a time, as their rows are written.
#[test]
fn pictures_are_asked_for_in_order() {
    let records = all_kinds();
    let mut asked = Vec::new();
    write(&mut std::io::sink(), &records, &[], |index, record| {
        assert_eq!(record, &records[index]);
        asked.push(index);
        StillPicture::default()
    })
    .unwrap();
    assert_eq!(asked, (0..records.len()).collect::<Vec<_>>());
}

#[test]
fn a_full_disk_is_an_error() {
    struct Full;
    impl std::io::Write for Full {
        fn write(&mut self, _: &[u8]) -> std::io::Result<usize> {
            Err(std::io::ErrorKind::StorageFull.into())
        }
        fn flush(&mut self) -> std::io::Result<()> {
            Ok(())
        }
    }
    let error = write(&mut Full, &all_kinds(), &[], |_, _| StillPicture::default()).unwrap_err();
    assert_eq!(error.kind(), std::io::ErrorKind::StorageFull);
}

/// Sizes with the largest pictures allowed, at both ends of what the page promises.
#[test]
fn it_stays_under_twenty_megabytes() {
    let scene = Scene::new();
    let (picture, record) = (scene.eye(), scene.costed("stills/measured-still.jpg", 31.0, 2.4));
    let overlay = draw(&picture, &record, Some(&scene.map));
    let refused: Vec<Record> =
        crate::fixture::ALL_CODES.map(|code| scene.refused("stills/some-still.jpg", code)).to_vec();
    for (stills, least) in [(1, 20_000), (200, 20_000), (201, 2_000), (5_000, 500)] {
        let jpeg = embedded_picture(stills, &picture, &record, Some(&scene.map), &overlay).unwrap();
        assert!(jpeg.len() >= least, "{stills}: a picture of {} bytes", jpeg.len());
        let records: Vec<Record> =
            (0..stills).map(|k| if k % 3 == 0 { refused[k % refused.len()].clone() } else { record.clone() }).collect();
        let page = page_of(&records, Some(&jpeg));
        assert!(page.len() < 20_000_000, "{stills}: {}", page.len());
        assert_eq!(page.matches("data:image/jpeg").count(), stills, "all fit");
    }
    // Records that have far more to say than usual, and pictures larger than were asked for.
    let mut wordy = refused[0].clone();
    wordy.warnings = vec!["many words ".repeat(250)];
    for (records, jpeg) in [(vec![wordy; 5_000], 1_500), (vec![record; 200], 200_000)] {
        let page = page_of(&records, Some(&vec![0x55; jpeg]));
        assert!(page.len() < 20_000_000, "{}", page.len());
        assert!(page.contains("data:image/jpeg"));
        assert_eq!(page.matches("<tr data-outcome=").count(), records.len());
    }
}
