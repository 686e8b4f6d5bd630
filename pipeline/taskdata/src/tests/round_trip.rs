//! Whatever is written as a log comes back, for any set of logged positions and any values.

use proptest::prelude::*;

use super::*;
use crate::Change;

/// Letters and bytes of the position as the format's description lists them, apart from the reader's own table.
const PARTS: [(char, usize); 9] =
    [('A', 4), ('B', 4), ('C', 4), ('D', 1), ('E', 2), ('F', 2), ('G', 1), ('H', 4), ('I', 2)];

type Written = (u32, u16, [u8; 24], Vec<(u8, i32)>);

fn written() -> impl Strategy<Value = Written> {
    (0..86_400_000_u32, any::<u16>(), any::<[u8; 24]>(), prop::collection::vec((0..5_u8, any::<i32>()), 0..255))
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn records_come_back_as_they_were_written(
        logged in any::<[bool; 9]>(),
        records in prop::collection::vec(written(), 0..12),
    ) {
        let parts: Vec<_> = PARTS.iter().zip(logged).filter(|(_, logged)| *logged).map(|(part, _)| *part).collect();
        let position: String = parts.iter().map(|(letter, _)| format!(" {letter}=\"\"")).collect();
        let channels = "<DLV A=\"01AB\" B=\"\" C=\"DET-3\"/>".repeat(5);
        let header = format!("<TIM A=\"\"><PTN{position}/>{channels}</TIM>");
        let mut log = Vec::new();
        for (time, day, noise, values) in &records {
            log.extend(time.to_le_bytes());
            log.extend(day.to_le_bytes());
            log.extend(&noise[..parts.iter().map(|(_, size)| size).sum()]);
            log.push(u8::try_from(values.len()).unwrap());
            values.iter().for_each(|(position, raw)| {
                log.push(*position);
                log.extend(raw.to_le_bytes());
            });
        }
        let (read, _) = all_records(&mut archive(&[
            ("TASKDATA.XML", PLANTER.as_bytes()),
            ("TLG00001.XML", header.as_bytes()),
            ("TLG00001.BIN", &log),
        ]));
        prop_assert_eq!(read.len(), records.len());
        for (record, (time, _, noise, values)) in read.iter().zip(&records) {
            let midnight = record.local.unwrap().date().to_datetime(jiff::civil::Time::midnight());
            prop_assert_eq!(record.local.unwrap().duration_since(midnight).as_millis(), i128::from(*time));
            let changes: Vec<_> = values.iter().map(|&(position, raw)| Change { position, raw }).collect();
            prop_assert_eq!(&record.changes, &changes);
            prop_assert_eq!(record.latitude.is_some(), record.longitude.is_some());
            if !(logged[0] && logged[1]) {
                prop_assert_eq!(record.latitude, None);
            }
            let before_status: usize = parts.iter().filter(|(letter, _)| *letter < 'D').map(|(_, size)| size).sum();
            prop_assert_eq!(record.status, logged[3].then(|| noise[before_status]));
        }
    }
}
