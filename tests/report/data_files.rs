//! measurements.ndjson against its JSON Schema, measurements.csv against a reader of CSV, both against the records.

use crate::fixture::{Scene, all_kinds};
use serde_json::Value;
use stillaxis::record::Record;
use stillaxis::report::{ndjson, table};

fn lines(bytes: &[u8]) -> Vec<Value> {
    let text = std::str::from_utf8(bytes).unwrap();
    assert!(text.is_empty() || text.ends_with('\n'));
    text.lines().map(|line| serde_json::from_str(line).unwrap()).collect()
}

/// Validated by the crate jsonschema, which shares nothing with the writer.
#[test]
fn every_line_follows_the_schema() {
    let schema = serde_json::to_value(schemars::schema_for!(Record)).unwrap();
    let validator = jsonschema::validator_for(&schema).unwrap();
    let records = all_kinds();
    let lines = lines(&ndjson::write(&records));
    assert_eq!(lines.len(), records.len());
    for line in &lines {
        let faults: Vec<String> = validator.iter_errors(line).map(|fault| fault.to_string()).collect();
        assert!(faults.is_empty(), "{line}: {faults:?}");
    }
    let mut broken = lines[0].clone();
    broken["outcome"] = "guessed".into();
    assert!(!validator.is_valid(&broken));
}

#[test]
fn reading_gives_back_what_was_written() {
    let written = ndjson::write(&all_kinds());
    let read = ndjson::read(&written).unwrap();
    assert_eq!(read.len(), all_kinds().len());
    assert_eq!(ndjson::write(&read), written, "a second pass changes nothing");
    let (before, after) = (&all_kinds()[0], &read[0]);
    assert_eq!((&before.case, &before.warnings, &before.still), (&after.case, &after.warnings, &after.still));
    let error = |record: &Record| record.alignment.as_ref().unwrap().error_deg;
    assert!((error(before) - error(after)).abs() <= 0.5e-4);
    assert_eq!(all_kinds()[1].left_out, read[1].left_out);
    assert!(read[1].best_axis.is_some() && read[1].turn_back.is_some());
    let spaced = [b"\n".as_slice(), &written, b"  \r\n"].concat();
    assert_eq!(ndjson::read(&spaced).unwrap(), read);
}

#[test]
fn fields_stand_in_the_order_of_the_contract() {
    let line = &lines(&ndjson::write(&all_kinds()))[0];
    let names: Vec<&String> = line.as_object().unwrap().keys().collect();
    let contract = [
        "schema",
        "still",
        "case",
        "outcome",
        "refusals",
        "warnings",
        "limbus",
        "reference_marks",
        "lens_marks",
        "alignment",
        "cylinder",
        "turn_back",
        "best_axis",
        "vector_analysis",
        "left_out",
        "program",
    ];
    assert_eq!(names, contract);
}

/// Decimals by unit, and the last bits of a sum do not reach the bytes.
#[test]
fn numbers_are_rounded_by_unit() {
    let mut record = Scene::new().measured("a.jpg", 31.0, 2.437_219);
    let bytes = ndjson::write(std::slice::from_ref(&record));
    let line = &lines(&bytes)[0];
    assert_eq!(line["alignment"]["error_deg"].to_string(), "2.4372");
    assert_eq!(line["limbus"]["radius_sd_px"].to_string(), "0.412");
    assert_eq!(line["cylinder"]["j45_d"].to_string(), "-0.1235");
    assert_eq!(line["limbus"]["score"].to_string(), "0.934568");
    let scale = line["limbus"]["mm_per_px"].as_f64().unwrap() / record.limbus.as_ref().unwrap().mm_per_px;
    assert!((scale - 1.0).abs() < 1e-5, "a scale of some 0.01 mm keeps its digits: {scale}");

    let alignment = record.alignment.as_mut().unwrap();
    alignment.lens_deg = alignment.lens_deg.next_up();
    alignment.error_deg = alignment.error_deg.next_down();
    assert_eq!(ndjson::write(&[record]), bytes);
}

/// The contract's half-open ranges hold after rounding too.
#[test]
fn rounding_stays_within_the_ranges() {
    let scene = Scene::new();
    let mut record = scene.measured("a.jpg", 12.0, 89.999_99);
    {
        let alignment = record.alignment.as_mut().unwrap();
        alignment.lens_deg = 179.999_99;
        alignment.intended_deg = 179.999_96;
        alignment.lens_axis_in_eye_deg = Some(0.000_01);
        alignment.marks_opposition_deg = Some(-0.000_01);
    }
    record.reference_marks[0].meridian_deg = 359.999_99;
    record.limbus.as_mut().unwrap().angle_deg = 179.999_99;
    let line = &lines(&ndjson::write(&[record]))[0];
    let alignment = &line["alignment"];
    assert_eq!(alignment["error_deg"], 89.9999);
    assert_eq!(alignment["lens_deg"], 0.0);
    assert_eq!(alignment["intended_deg"], 0.0);
    assert_eq!(alignment["lens_axis_in_eye_deg"], 180.0);
    assert_eq!(alignment["marks_opposition_deg"].to_string(), "0.0");
    assert_eq!(line["reference_marks"][0]["meridian_deg"], 0.0);
    assert_eq!(line["limbus"]["angle_deg"], 0.0);
}

/// Fields that were added to a schema may be missing in records of earlier runs.
#[test]
fn records_from_before_the_costs_can_be_read() {
    let mut line = lines(&ndjson::write(&[Scene::new().measured("a.jpg", 31.0, 2.0)])).remove(0);
    let fields = line.as_object_mut().unwrap();
    for added in ["turn_back", "best_axis", "vector_analysis", "left_out"] {
        fields.remove(added).unwrap();
    }
    fields["cylinder"].as_object_mut().unwrap().remove("placed").unwrap();
    let read = ndjson::read(line.to_string().as_bytes()).unwrap();
    assert_eq!((read[0].turn_back.as_ref(), read[0].left_out.len()), (None, 0));
}

#[test]
fn faults_of_a_file_name_the_line() {
    let mut bytes = ndjson::write(&all_kinds()[..2]);
    bytes.extend_from_slice(b"{\"schema\":1}\n");
    let error = ndjson::read(&bytes).unwrap_err();
    assert!(error.to_string().starts_with("line 3: not a record: missing field"), "{error}");
    let error = ndjson::read(b"\n{\"schema\":7}\n").unwrap_err();
    assert_eq!(error.to_string(), "line 2: record of schema 7, expected 1");
    assert!(ndjson::read(b"\xff\n").unwrap_err().to_string().starts_with("line 1: "));
    assert!(ndjson::read(b"").unwrap().is_empty());
}

/// Read back by the crate csv: the same numbers as in the NDJSON, to the last digit.
#[test]
fn the_table_holds_the_numbers_of_the_records() {
    let records = all_kinds();
    let (table, lines) = (table::write(&records).unwrap(), lines(&ndjson::write(&records)));
    let mut reader = csv::Reader::from_reader(table.as_slice());
    let headings = reader.headers().unwrap().clone();
    let rows: Vec<csv::StringRecord> = reader.records().map(|row| row.unwrap()).collect();
    assert_eq!(rows.len(), records.len());
    let places = [
        ("still_path", "/still/path"),
        ("outcome", "/outcome"),
        ("alignment_error_deg", "/alignment/error_deg"),
        ("alignment_low95_deg", "/alignment/interval95_deg/0"),
        ("alignment_high95_deg", "/alignment/interval95_deg/1"),
        ("variance_oval_deg2", "/alignment/variance_parts_deg2/oval"),
        ("offset_apparent_y_mm", "/alignment/offset_apparent_mm/1"),
        ("residual_percent", "/cylinder/residual_percent"),
        ("residual_high95_d", "/cylinder/residual_interval95_d/1"),
        ("residual_axis_deg", "/cylinder/residual_axis_deg"),
        ("residual_j0_j45_covariance_d2", "/cylinder/j_covariance/j0_j45_d2"),
        ("residual_spectacle_refraction_sphere_d", "/cylinder/spectacle_refraction/sphere_d"),
        ("placed_residual_d", "/cylinder/placed/residual_d"),
        ("turn_back_sense", "/turn_back/sense"),
        ("turn_back_gain_low95_d", "/turn_back/gain_interval95_d/0"),
        ("best_axis_deg", "/best_axis/axis_deg"),
        ("best_axis_turn_high95_deg", "/best_axis/turn_interval95_deg/1"),
        ("difference_vector_axis_deg", "/vector_analysis/difference/axis_deg"),
        ("correction_index", "/vector_analysis/correction_index"),
        ("left_out_results", "/left_out/0/result"),
        ("limbus_semi_axis_short_px", "/limbus/semi_axes_px/1"),
        ("mark1_meridian_deg", "/reference_marks/0/meridian_deg"),
        ("mark2_center_y_px", "/reference_marks/1/center_px/1"),
        ("mark3_kind", "/reference_marks/2/kind"),
        ("refusal_codes", "/refusals/0/code"),
        ("program_version", "/program/version"),
    ];
    for (row, line) in rows.iter().zip(&lines) {
        for (heading, place) in places {
            let column = headings.iter().position(|name| name == heading).expect(heading);
            match line.pointer(place).unwrap_or(&Value::Null) {
                Value::Null => assert_eq!(&row[column], "", "{heading}"),
                Value::String(text) => assert_eq!(&row[column], text, "{heading}"),
                number => assert_eq!(row[column].parse::<f64>().unwrap(), number.as_f64().unwrap(), "{heading}"),
            }
        }
    }
}

/// Every number and text of the record but the lens marks has a column: a field added to the record is missed here.
#[test]
fn no_field_is_left_out() {
    let mut record = Scene::new().costed("a.jpg", 31.0, 2.0);
    record.left_out[0].columns.truncate(1);
    record.lens_marks.clear();
    record.reference_marks.truncate(1);
    record.reference_marks[0].denotes_deg = Some(180.0);
    record.still.taken_at = Some("2031-05-04T10:11:12".into());
    record.program.settings = "x=1".into();
    record.warnings = vec!["w".into()];
    record.refusals = Scene::new().refused("a", stillaxis::record::RefusalCode::LensMarksMissing).refusals;
    record.alignment.as_mut().unwrap().lens_axis_in_eye_deg = Some(5.0);
    fn leaves(value: &Value) -> usize {
        match value {
            Value::Null => 0,
            Value::Array(items) => items.iter().map(leaves).sum(),
            Value::Object(fields) => fields.values().map(leaves).sum(),
            _ => 1,
        }
    }
    let in_record = leaves(&lines(&ndjson::write(std::slice::from_ref(&record)))[0]);
    let table = table::write(&[record]).unwrap();
    let row = csv::Reader::from_reader(table.as_slice()).records().next().unwrap().unwrap();
    let filled = row.iter().filter(|cell| !cell.is_empty()).count();
    assert_eq!(filled, in_record + 2, "the counts of reference and lens marks come on top");
}

#[test]
fn columns_of_the_sheet_keep_their_names_unless_taken() {
    let mut records = all_kinds();
    records[2].case.insert("sheet_outcome".into(), "hers".into());
    let table = table::write(&records).unwrap();
    let mut reader = csv::Reader::from_reader(table.as_slice());
    let headings = reader.headers().unwrap().clone();
    let rows: Vec<csv::StringRecord> = reader.records().map(|row| row.unwrap()).collect();
    let cell = |row: usize, name: &str| {
        let columns: Vec<usize> = (0..headings.len()).filter(|i| &headings[*i] == name).collect();
        assert_eq!(columns.len(), 1, "{name}");
        &rows[row][columns[0]]
    };
    assert_eq!(cell(0, "patient"), "p<7>");
    assert_eq!(cell(0, "error_deg"), "of the sheet");
    assert_eq!(cell(1, "case"), "13; left, \"second\"\nline");
    assert_eq!((cell(0, "outcome"), cell(0, "sheet_sheet_outcome")), ("measured", "good"));
    assert_eq!(cell(2, "sheet_outcome"), "hers");
}

#[test]
fn several_refusals_and_warnings_share_a_cell() {
    let mut record = Scene::new().refused("a.jpg", stillaxis::record::RefusalCode::LensMarksMissing);
    record.refusals.push(stillaxis::record::Refusal {
        code: stillaxis::record::RefusalCode::IntervalTooWide,
        ..record.refusals[0].clone()
    });
    let table = String::from_utf8(table::write(&[record]).unwrap()).unwrap();
    assert!(table.contains("lens_marks_missing; interval_too_wide"), "{table}");
}
