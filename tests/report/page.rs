//! The page.

use crate::fixture::{Scene, all_kinds};
use stillaxis::record::Record;
use stillaxis::report::overlay::draw;
use stillaxis::report::page::{StillPicture, embedded_picture, write};

fn page_of(records: &[Record], jpeg: Option<&[u8]>) -> String {
    let mut out = Vec::new();
    write(&mut out, records, |index, _| StillPicture {
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
    assert!(page.contains("p&lt;7&gt;"));
    assert!(page.contains("overlays/0003%20a%26b.jpg"));
    assert_eq!(page.matches("<script>").count(), 1);
}

/// Sizes with the largest pictures allowed, at both ends of what the page promises.
#[test]
fn it_stays_under_twenty_megabytes() {
    let scene = Scene::new();
    let (picture, record) = (scene.eye(), scene.measured("stills/measured-still.jpg", 31.0, 2.4));
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
    }
}
