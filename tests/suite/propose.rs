//! Blocks that `check` proposes for files that nobody made for this program. All files are invented.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::Path;
use std::sync::Arc;

use arrow::array::{ArrayRef, Int64Array, RecordBatch, StringArray};
use evenstand_ingest::{Mapping, Proposal, look_at_text, look_at_workbook};
use evenstand_settings::Settings;
use parquet::arrow::ArrowWriter;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rust_xlsxwriter::Workbook;

use crate::support::{TestReview, shared};

/// A file, and what must be proposed for it.
struct Case {
    file: &'static str,
    text: &'static str,
    kind: Option<&'static str>,
    /// Lines of the block; what follows `# ?` is left out.
    lines: &'static [&'static str],
    /// Parts of questions, each in another one; there are no further questions.
    questions: &'static [&'static str],
    /// Rows that must be kept where there is no question: `column=value` divided by two blanks.
    kept: &'static [&'static str],
}

const CASES: &[Case] = &[
    Case {
        file: "Emergence counts 2025 final.csv",
        text: "Fld,Strip #,Row length (ft),Stand May 8,Stand May 12\nNorth 40,1,17.5,12,30\nNorth 40,2,17.5,10,31\n",
        kind: Some("stand_count"),
        lines: &[
            "field_id = \"Fld\"",
            "strip_id = \"Strip #\"",
            "row_length_ft = \"Row length (ft)\"",
            "constants.season = 2025",
            "columns = [\"Stand May 8\", \"Stand May 12\"]",
            "name_to = \"counted_at\"",
            "value_to = \"emerged\"",
            "names.\"Stand May 8\" = \"2025-05-08\"",
        ],
        questions: &["year of planting", "\"Stand May 8\" = \"2025-05-08\": the name says no year", "Stand May 12"],
        kept: &[],
    },
    Case {
        file: "scouting.csv",
        text: "Field,Year,Plot,Date,Row length (ft),Plants\nA,2025,1,2025-05-08,17.5,30\nA,2025,2,2025-05-08,10,NA\nA,2025,2,2025-05-09,10,22\n",
        kind: Some("stand_count"),
        lines: &["season = \"Year\"", "emerged = \"Plants\"", "counted_at = \"Date\""],
        questions: &[],
        kept: &[],
    },
    Case {
        file: "Bestand im Mai.csv",
        text: "Schlag;Jahr;Streifen;Länge (m);Datum;Bestand\nNörd;2025;1;5,334;08.05.2025;30\nNörd;2025;2;5,34;08.05.2025;1.031\n",
        kind: Some("stand_count"),
        lines: &[
            "delimiter = \";\"",
            "decimal = \",\"",
            "thousands = \".\"",
            "time_formats = \"%d.%m.%Y\"",
            "row_length_m = \"Länge (m)\"",
        ],
        questions: &[],
        kept: &[
            "field_id=Nörd  strip_id=1  row_length_m=5.334  emerged=30  counted_at=2025-05-08T00:00:00Z",
            "strip_id=2  row_length_m=5.34  emerged=1031",
        ],
    },
    Case {
        file: "two rows.csv",
        text: "Field,Season,Strip,Row length,Emerged,Date\n,,,ft,plants,\nA,2025,1,10,30,2025-05-08\nA,2025,2,10,31,2025-05-08\n",
        kind: Some("stand_count"),
        lines: &["header_row = [1, 2]", "row_length_ft = \"Row length / ft\"", "emerged = \"Emerged / plants\""],
        questions: &[],
        kept: &["strip_id=1  row_length_m=3.048  emerged=30", "strip_id=2  emerged=31"],
    },
    Case {
        file: "title above.csv",
        text: "Stand of the trial,,,,\n\nPaddock,Year,Plot,Plants up,Seeds planted\nHill,2025,1,30,34\nHill,2025,2,31,34\n",
        kind: Some("stand_count"),
        lines: &[
            "header_row = 3",
            "field_id = \"Paddock\"",
            "emerged = \"Plants up\"",
            "seeds_sown = \"Seeds planted\"",
        ],
        questions: &[],
        kept: &["field_id=Hill  strip_id=1  emerged=30  seeds_sown=34.0"],
    },
    Case {
        file: "sums below.csv",
        text: "Field,Year,Plot,Plants\nHill,2025,1,30\nHill,2025,2,31\nTotal,,,61\n",
        kind: Some("stand_count"),
        lines: &["skip_rows_with = \"Total\""],
        questions: &["sums or means"],
        kept: &[],
    },
    Case {
        file: "visits.csv",
        text: "field,season,strip,2025-05-08,2025-05-12\nA,2025,1,10,30\nA,2025,2,12,33\n",
        kind: Some("stand_count"),
        lines: &["columns = [\"2025-05-08\", \"2025-05-12\"]"],
        questions: &[],
        kept: &[
            "strip_id=1  emerged=10  counted_at=2025-05-08T00:00:00Z",
            "strip_id=2  emerged=33  counted_at=2025-05-12T00:00:00Z",
        ],
    },
    Case {
        file: "new plants.csv",
        text: "Field\tSeason\tPlot\t5/18/2025\t5/22/2025\t5/28/2025\nA\t2025\t1\t20\t10\t2\nA\t2025\t2\t18\t11\t0\n",
        kind: Some("stand_count"),
        lines: &["delimiter = \"tab\"", "newly = true", "names.\"5/28/2025\" = \"2025-05-28\""],
        questions: &[],
        kept: &["strip_id=1  emerged=32  counted_at=2025-05-28T00:00:00Z", "strip_id=2  emerged=29"],
    },
    Case {
        file: "groups.csv",
        text: "Schlag;Jahr;Parzelle;Bestand;\n;;;08.05.2025;12.05.2025\nA;2025;1;10;30\nA;2025;2;11;31\n",
        kind: Some("stand_count"),
        lines: &["header_row = [1, 2]", "names.\"Bestand / 12.05.2025\" = \"2025-05-12\""],
        questions: &[],
        kept: &["strip_id=2  emerged=31  counted_at=2025-05-12T00:00:00Z"],
    },
    Case {
        file: "days.csv",
        text: "Field,Year,Plot,Planted,Day 7,Day 10\nA,2025,1,2025-04-28,10,30\nA,2025,2,2025-04-28,11,29\n",
        kind: Some("stand_count"),
        lines: &["day_zero = \"2025-04-28\""],
        questions: &["only day in \"Planted\""],
        kept: &[],
    },
    Case {
        file: "numbered.csv",
        text: "Field,Year,Plot,V1,V2,V3\nA,2025,1,10,30,29\nA,2025,2,11,29,29\n",
        kind: Some("stand_count"),
        lines: &["# names.\"V1\" = \"2025-05-08\"", "# newly = true", "columns = [\"V1\", \"V2\", \"V3\"]"],
        questions: &["new since the count before", "\"V1\"", "\"V2\"", "\"V3\""],
        kept: &[],
    },
    Case {
        file: "by row.csv",
        text: "Field,Year,Strip,Date,Row 1,Row 2\nA,2025,1,2025-05-08,30,31\nA,2025,2,2025-05-08,28,33\n",
        kind: Some("stand_count"),
        lines: &["name_to = \"row_unit\"", "counted_at = \"Date\""],
        questions: &[],
        kept: &["strip_id=1  row_unit=Row 2  emerged=31", "strip_id=2  row_unit=Row 1  emerged=28"],
    },
    Case {
        file: "clock.csv",
        text: "Field,Season,Strip,Date,Time,Plants\nA,2025,1,5/28/2025,07:30,30\nA,2025,1,5/29/2025,18:05,31\n",
        kind: Some("stand_count"),
        lines: &["counted_at = [\"Date\", \"Time\"]"],
        questions: &[],
        kept: &["emerged=31  counted_at=2025-05-29T18:05:00Z"],
    },
    Case {
        file: "both ways.csv",
        text: "Field,Season,Strip,Count date,Stand\nA,2025,1,05/08/2025,30\nA,2025,1,05/12/2025,31\n",
        kind: Some("stand_count"),
        lines: &["# time_formats = \"%m/%d/%Y\"", "# time_formats = \"%d/%m/%Y\""],
        questions: &["month first they span 4 days", "day first they span 122 days"],
        kept: &[],
    },
    Case {
        file: "no unit.csv",
        text: "Field,Season,Strip,Row length,Stand\nA,2025,1,17.5,30\nA,2025,2,17.5,31\n",
        kind: Some("stand_count"),
        lines: &["# row_length_m = \"Row length\"", "emerged = \"Stand\""],
        questions: &["does not say the unit"],
        kept: &[],
    },
    Case {
        file: "blocks.csv",
        text: "Location,Year,Block,Entry,Stand count\nA,2025,1,K,30\nA,2025,1,L,31\nA,2025,2,K,32\nA,2025,2,L,30\n",
        kind: Some("stand_count"),
        lines: &["# strip_id = [\"Block\", \"Entry\"]", "field_id = \"Location\""],
        questions: &["together tell all rows apart"],
        kept: &[],
    },
    Case {
        file: "Closing settings 2025.csv",
        text: "Field,Strip,Closing pressure [psi],Row unit downforce (lbs)\nA,1,20,150\nA,2,30,150\n",
        kind: Some("setting_log"),
        lines: &["set_pressure_psi = \"Closing pressure [psi]\"", "row_downforce_lbf = \"Row unit downforce (lbs)\""],
        questions: &["year of planting, taken from the name"],
        kept: &[],
    },
    Case {
        file: "planter log.csv",
        text: "Field,Season,Strip,Downforce (lbs)\nA,2025,1,150\nA,2025,2,200\n",
        kind: Some("setting_log"),
        lines: &["row_downforce_lbf = \"Downforce (lbs)\""],
        questions: &["not of the closing system"],
        kept: &[],
    },
    Case {
        file: "springs.csv",
        text: "Field,Year,Strip,Rep,Spring position\nA,2025,1,1,2nd notch\nA,2025,2,1,3rd notch\n",
        kind: Some("setting_log"),
        lines: &["closing_position = \"Spring position\"", "block = \"Rep\""],
        questions: &[],
        kept: &["strip_id=2  closing_position=3rd notch  block=1"],
    },
    Case {
        file: "newtons.csv",
        text: "field,season,strip,closingForceSet_N,actual_closing_force_N\nA,2025,1,200,190.5\nA,2025,2,300,310\n",
        kind: Some("setting_log"),
        lines: &["set_force_n = \"closingForceSet_N\"", "actual_force_n = \"actual_closing_force_N\""],
        questions: &[],
        kept: &["strip_id=1  set_force_n=200.0  actual_force_n=190.5"],
    },
    Case {
        file: "station.csv",
        text: "DATE,TMAX (°F),TMIN (°F),PRCP (in)\n2025-05-01,77,50,0.5\n2025-05-02,86,59,0\n",
        kind: Some("weather"),
        lines: &["tmax_f = \"TMAX (°F)\"", "rain_in = \"PRCP (in)\""],
        questions: &[],
        kept: &["date=2025-05-01  tmax_c=25.0  tmin_c=10.0  rain_mm=12.7"],
    },
    Case {
        file: "daily.csv",
        text: "lst_date,max_temp_c,min_temp_c,precip_mm\n20250501,21.4,9.8,0.0\n20250502,-9999.0,10.1,4.2\n",
        kind: Some("weather"),
        lines: &["time_formats = \"%Y%m%d\"", "missing = \"-9999\""],
        questions: &[],
        kept: &["date=2025-05-02  tmax_c=  rain_mm=4.2"],
    },
    Case {
        file: "weather 54902.txt",
        text: "54902 20240501   21.4    9.8    0.0\n54902 20240502   20.0   10.1    4.2\n",
        kind: Some("weather"),
        lines: &["header_row = 0", "delimiter = \"blanks\"", "date = \"B\"", "time_formats = \"%Y%m%d\""],
        questions: &["no row of names", "\"A\"", "first column of dates", "\"C\"", "\"D\"", "\"E\""],
        kept: &[],
    },
    Case {
        file: "Dig notes.csv",
        text: "Field,Season,Strip,Trench closed?,Air pocket,Seed depth (in)\nA,2025,1,closed,no,2\nA,2025,2,open,yes,1.5\nA,2025,3,partial,n,1.75\n",
        kind: Some("dig_check"),
        lines: &[
            "synonyms.trench_shut.\"closed\" = \"yes\"",
            "synonyms.trench_shut.\"partial\" = \"partly\"",
            "seed_depth_in = \"Seed depth (in)\"",
        ],
        questions: &[],
        kept: &["strip_id=1  trench_shut=yes  air_gap=false  seed_depth_m=0.0508", "strip_id=3  trench_shut=partly"],
    },
    Case {
        file: "crosses.csv",
        text: "Field,Season,Strip,Press wheel mark,Light,Dig score\nA,2025,1,x,,2\nA,2025,2,,x,4\n",
        kind: Some("dig_check"),
        lines: &["synonyms.press_mark.\"x\" = \"yes\"", "dig_effort = \"Dig score\""],
        questions: &["press_mark", "light_at_seed"],
        kept: &[],
    },
    Case {
        file: "soil.csv",
        text: "Field|Year|Date|Soil type|Feel|Residue %|Soil temp (°C)\nA|2025|28.04.2025|SiCL|damp|45|11.5\nB|2025|29.04.2025|loam|dry|10|12\n",
        kind: Some("soil_note"),
        lines: &[
            "delimiter = \"|\"",
            "synonyms.texture.\"SiCL\" = \"silty clay loam\"",
            "synonyms.moisture_feel.\"damp\" = \"moist\"",
            "residue_cover_pct = \"Residue %\"",
        ],
        questions: &[],
        kept: &["field_id=A  texture=silty clay loam  moisture_feel=moist  residue_cover_frac=0.45  soil_temp_c=11.5"],
    },
    Case {
        file: "Field list.csv",
        text: "Farm,Field,Year,Crop,Planting date,Row spacing (in),Seeding rate (seeds/ac),Tillage\nHill,A,2025,corn,4/28/2025,30.0,\"34,000\",NT\nHill,B,2025,corn,5/2/2025,30.0,\"32,000\",Conventional\n",
        kind: Some("field"),
        lines: &[
            "thousands = \",\"",
            "time_formats = \"%m/%d/%Y\"",
            "synonyms.tillage.\"NT\" = \"no_till\"",
            "seed_rate_per_ac = \"Seeding rate (seeds/ac)\"",
        ],
        questions: &[],
        kept: &[
            "field_id=A  farm=Hill  tillage=no_till  row_spacing_m=0.762  planted_at=2025-04-28T00:00:00Z",
            "field_id=B  tillage=full",
        ],
    },
    Case {
        file: "field info.csv",
        text: "Field,Season,Planted,Row spacing,Tillage\nA,2025,2025-04-28,76,ridge\nB,2025,2025-04-29,76,no-till\n",
        kind: Some("field"),
        lines: &["row_spacing_cm = \"Row spacing\"", "# synonyms.tillage.\"ridge\" = \"no_till\""],
        questions: &["what does \"ridge\" stand for", "row_spacing_cm"],
        kept: &[],
    },
    Case {
        file: "tape.csv",
        text: "Field,Year,Plot,Plant #,Position (in)\nA,2025,1,1,0\nA,2025,1,2,6.5\n",
        kind: Some("spacing"),
        lines: &["plant = \"Plant #\"", "position_in = \"Position (in)\""],
        questions: &[],
        kept: &["plant=2  position_m=0.1651"],
    },
    Case {
        file: "stages.csv",
        text: "Field,Year,Plot,Plant,Collars,Height (cm)\nA,2025,1,1,3,21\nA,2025,1,2,2.5,18\n",
        kind: Some("plant"),
        lines: &["leaf_stage = \"Collars\"", "height_cm = \"Height (cm)\""],
        questions: &[],
        kept: &["plant=2  leaf_stage=2.5  height_m=0.18"],
    },
    Case {
        file: "harvest.csv",
        text: "Field,Year,Strip,Yield (bu/ac)\nA,2025,1,201.5\nA,2025,2,198\n",
        kind: Some("measure"),
        lines: &["names.\"Yield (bu/ac)\" = \"yield\"", "constants.unit = \"bu/ac\"", "constants.better = \"higher\""],
        questions: &["is more better"],
        kept: &[],
    },
    Case {
        file: "one sheet for all.csv",
        text: "Field,Year,Strip,Closing pressure (psi),Stand\nA,2025,1,20,30\nA,2025,2,30,33\n",
        kind: Some("setting_log"),
        lines: &[
            "kind = \"setting_log\"",
            "kind = \"stand_count\"",
            "set_pressure_psi = \"Closing pressure (psi)\"",
            "emerged = \"Stand\"",
        ],
        questions: &[],
        kept: &["strip_id=2  field_id=A  season=2025"],
    },
    Case {
        file: "stand_count.csv",
        text: "Paddock,Season,Plot,Plants\nA,2025,1,30\nA,2025,2,31\n",
        kind: Some("stand_count"),
        lines: &["field_id = \"Paddock\"", "emerged = \"Plants\""],
        questions: &[],
        kept: &["field_id=A  strip_id=1  emerged=30"],
    },
    Case {
        file: "odd [names].csv",
        text: "\"Fld \"\"N\"\"\",Field,Year,Plot,\"Plants\nup\"\nx\\y,A,2025,1,30\nz,A,2025,2,31\n",
        kind: Some("stand_count"),
        lines: &["file = \"odd [[]names[]].csv\"", "emerged = \"Plants\\nup\""],
        questions: &[],
        kept: &["strip_id=2  emerged=31"],
    },
    Case {
        file: "plant stand spring.csv",
        text: "Emergence study 2025,,,,\nCounted by: JD,,,,\n,,,,\nField Name,Treatment,Rep,Plants/17.5 ft,Notes\nA,30 psi,1,30,good\nA,30 psi,2,31,\nA,40 psi,1,29,crusted\nA,40 psi,2,33,\n",
        kind: Some("stand_count"),
        lines: &[
            "header_row = 4",
            "constants.row_length_ft = 17.5",
            "emerged = \"Plants/17.5 ft\"",
            "# strip_id = [\"Treatment\", \"Rep\"]",
        ],
        questions: &[
            "title above the header",
            "length of row that was counted",
            "what we call emerged",
            "together tell all rows apart",
        ],
        kept: &[],
    },
    Case {
        file: "pop counts.csv",
        text: "Grower,Field,Hybrid,Pass,Population (plants/ac),Date\nHill,A,P1,1,31000,5/20/2025\nHill,A,P1,2,32500,5/20/2025\n",
        kind: None,
        lines: &[],
        questions: &["\"Population (plants/ac)\" counts plants by area"],
        kept: &[],
    },
    Case {
        file: "Stand 5-8 and 5-12.csv",
        text: "Field,Yr,Strip,5-8 stand,5-12 stand\nA,25,1,12,30\nA,25,2,13,31\n",
        kind: Some("stand_count"),
        lines: &["# constants.season = 2025", "# season = \"Yr\"", "# names.\"5-8 stand\" = \"2025-05-08\""],
        questions: &["in which year was it planted", "not a year of four digits", "5-8 stand", "5-12 stand"],
        kept: &[],
    },
    Case {
        file: "moist.csv",
        text: "Date;Field;Moisture (%);Residue cover\n28.04.2025;A;22,5;45\n29.04.2025;B;18,3;50\n",
        kind: Some("soil_note"),
        lines: &[
            "# water_gravimetric_pct = \"Moisture (%)\"",
            "# water_volumetric_pct = \"Moisture (%)\"",
            "residue_cover_pct = \"Residue cover\"",
        ],
        questions: &["year of planting", "by mass of dry soil", "by volume of soil", "does not say the unit"],
        kept: &[],
    },
    Case {
        file: "digs.csv",
        text: "Field / strip,When,Closed?,Light,Effort 1-5,Depth in\nNorth/1,2025-04-28,Yes,N,3,2.0\nNorth/2,2025-04-28,No,Y,2,1.75\n",
        kind: Some("dig_check"),
        lines: &[
            "dug_at = \"When\"",
            "trench_shut = \"Closed?\"",
            "dig_effort = \"Effort 1-5\"",
            "seed_depth_in = \"Depth in\"",
        ],
        questions: &["year of planting", "no column is called a field"],
        kept: &[],
    },
    Case {
        file: "vigor.csv",
        text: "Site,Year,Plot #,Vigor (1-9),Stand (plants/plot),Yield bu/ac,Test wt\nA,2025,101,7,120,201.2,56.1\nA,2025,102,6,118,199.4,55.8\n",
        kind: Some("measure"),
        lines: &["columns = [\"Vigor (1-9)\", \"Yield bu/ac\", \"Test wt\"]", "emerged = \"Stand (plants/plot)\""],
        questions: &[],
        kept: &["strip_id=101  name=yield  value=201.2", "strip_id=102  name=vigor  value=6.0"],
    },
    Case {
        file: "planting.csv",
        text: "FIELD_NAME,YEAR,PLANT_DATE,CROP,POP,ROW_SP_IN,TILL_SYS\nA,2025,04/28/25,Corn,34.0,30,No till\nB,2025,05/02/25,Corn,32.5,30,VT\n",
        kind: Some("field"),
        lines: &[
            "time_formats = \"%m/%d/%y\"",
            "row_spacing_in = \"ROW_SP_IN\"",
            "synonyms.tillage.\"VT\" = \"reduced\"",
            "# seed_rate_per_m2 = \"POP\"",
        ],
        questions: &["thousands an acre must be written out"],
        kept: &[],
    },
    Case {
        file: "field-2025.csv",
        text: "a,b\n1,2\n3,4\n",
        kind: Some("field"),
        lines: &["kind = \"field\""],
        questions: &["year of planting", "no column is called a field"],
        kept: &[],
    },
    Case {
        file: "trial grid.csv",
        text: "Location,Year,Plot,Row,Range,Stand\nA,2025,1,1,1,30\nA,2025,2,1,2,31\n",
        kind: Some("stand_count"),
        lines: &["# not used: \"Row\", \"Range\""],
        questions: &[],
        kept: &["strip_id=2  row_unit=  emerged=31"],
    },
    Case {
        file: "strip results.csv",
        text: "Field: North 40,,,,\nRow length: 17.5 ft,,,,\nStrip,Closing setting (psi),Stand 5/12/2025,Stand 5/20/2025,Yield (bu/ac)\n1,20,25,30,201.1\n2,40,26,31,203.4\n",
        kind: Some("stand_count"),
        lines: &[
            "constants.field_id = \"North 40\"",
            "constants.row_length_ft = 17.5",
            "names.\"Stand 5/12/2025\" = \"2025-05-12\"",
            "set_pressure_psi = \"Closing setting (psi)\"",
        ],
        questions: &["year of planting", "North 40", "row_length_ft", "is more better"],
        kept: &[],
    },
    Case {
        file: "tape spacing.csv",
        text: "field,year,plot,plant,dist_cm\nA,2025,1,1,0\nA,2025,1,2,16.5\n",
        kind: Some("spacing"),
        lines: &["position_cm = \"dist_cm\"", "plant = \"plant\""],
        questions: &[],
        kept: &["plant=2  position_m=0.165"],
    },
    Case {
        file: "long days.csv",
        text: "Site-Year,Season,Plot,DAP,Emerged plants,Row ft\nA-2025,2025,101,7,12,10\nA-2025,2025,101,9,20,10\n",
        kind: Some("stand_count"),
        lines: &["field_id = \"Site-Year\"", "row_length_ft = \"Row ft\"", "# counted_at = \"DAP\""],
        questions: &["it counts days"],
        kept: &[],
    },
    Case {
        file: "grouped days.csv",
        text: ",,,Days after planting,,,\nField,Strip,Closing psi,6,8,10,Seeds/17.5'\nA,1,20,3,12,25,34\nA,2,40,5,18,28,34\n",
        kind: Some("stand_count"),
        lines: &[
            "header_row = [1, 2]",
            "constants.row_length_ft = 17.5",
            "# day_zero = \"2025-04-28\"",
            "set_pressure_psi = \"Closing psi\"",
        ],
        questions: &["in which year", "length of row", "what we call seeds_sown", "from which day"],
        kept: &[],
    },
    Case {
        file: "log.csv",
        text: "Datum;Feld-Nr;Saison;Parzelle;Soll-Druck (kPa);Ist Druck (kPa)\n28.04.2025;1;2025;1;200;198,5\n28.04.2025;1;2025;2;250;251,0\n",
        kind: Some("setting_log"),
        lines: &[
            "set_pressure_kpa = \"Soll-Druck (kPa)\"",
            "actual_pressure_kpa = \"Ist Druck (kPa)\"",
            "# not used: \"Datum\"",
        ],
        questions: &[],
        kept: &["field_id=1  strip_id=1  set_pressure_kpa=200.0  actual_pressure_kpa=198.5"],
    },
    Case {
        file: "air.csv",
        text: "Field,Season,Strip,Air pressure\nA,2025,1,30\nA,2025,2,40\n",
        kind: Some("setting_log"),
        lines: &["# set_pressure_psi = \"Air pressure\""],
        questions: &["what we call set_pressure"],
        kept: &[],
    },
    Case {
        file: "gaps.csv",
        text: "Field,Season,Plot,Date,Stand\nA,2025,1,5/28/2025,30\nA,2025,2,rained out,.\nA,2025,3,5/28/2025,29\n",
        kind: Some("stand_count"),
        lines: &["missing = \".\"", "# missing = [\".\", \"rained out\"]", "time_formats = \"%m/%d/%Y\""],
        questions: &["\"rained out\" in \"Date\" is no date"],
        kept: &[],
    },
    Case {
        file: "shared plots.csv",
        text: "Site,Year,Plot,Code,Stand\nA,2025,1,a1,30\nA,2025,1,a2,31\nA,2025,2,a3,31\n",
        kind: Some("stand_count"),
        lines: &["strip_id = \"Plot\"", "# strip_id = \"Code\""],
        questions: &["\"Code\" tells all rows apart"],
        kept: &[],
    },
    Case {
        file: "month names.csv",
        text: "Field,Season,Plot,Count date,Stand\nA,2025,1,8-May-25,30\nA,2025,2,12-May-25,29\n",
        kind: Some("stand_count"),
        lines: &["time_formats = \"%d-%b-%y\""],
        questions: &[],
        kept: &["strip_id=2  counted_at=2025-05-12T00:00:00Z"],
    },
    Case {
        file: "serial.csv",
        text: "Field,Season,PlotID,Date,Stand\nA,2025,1,45785,30\nA,2025,2,45785,31\n",
        kind: Some("stand_count"),
        lines: &["strip_id = \"PlotID\"", "# counted_at = \"Date\""],
        questions: &["a spreadsheet's number of a day"],
        kept: &[],
    },
    Case {
        file: "stray.csv",
        text: "Field;Plot;Row length (m);Day 8;Day 10;Day 12\nA;1;5;10;-1;30\nA;2;5;11;20;31\n",
        kind: Some("stand_count"),
        lines: &["columns = [\"Day 8\", \"Day 10\", \"Day 12\"]"],
        questions: &["in which year", "\"Day 10\" holds \"-1\"", "from which day"],
        kept: &[],
    },
    Case {
        file: "stray comma.csv",
        text: "Field;Plot;Row length (m);Day 8;Day 10;Day 12\nA;1;5;10;12,5;30\nA;2;5;11;20;31\n",
        kind: Some("stand_count"),
        lines: &["columns = [\"Day 8\", \"Day 10\", \"Day 12\"]"],
        questions: &["in which year", "\"Day 10\" holds \"12,5\"", "from which day"],
        kept: &[],
    },
    Case {
        file: "crossed out.csv",
        text: "Field;Plot;Row length (m);Day 8;Day 10;Day 12\nA;1;5;10;x;30\nA;2;5;11;x;31\n",
        kind: Some("stand_count"),
        lines: &["columns = [\"Day 8\", \"Day 10\", \"Day 12\"]"],
        questions: &["in which year", "\"Day 10\" holds \"x\"", "from which day"],
        kept: &[],
    },
    Case {
        file: "empty visit.csv",
        text: "Field;Plot;Row length (m);Day 8;Day 10;Day 12\nA;1;5;10;;30\nA;2;5;11;;31\n",
        kind: Some("stand_count"),
        lines: &["columns = [\"Day 8\", \"Day 10\", \"Day 12\"]"],
        questions: &["in which year", "\"Day 10\" holds no count", "from which day"],
        kept: &[],
    },
    Case {
        file: "visits 2025.csv",
        text: "Field,Plot,Stand 5/8,Stand 5/12,Stand 5/20,Final stand\nA,1,10,20,-1,30\nA,2,11,21,31,31\n",
        kind: Some("stand_count"),
        lines: &["columns = [\"Stand 5/8\", \"Stand 5/12\", \"Stand 5/20\"]"],
        questions: &[
            "year of planting",
            "holds \"-1\", which is no count of plants: add it to missing if nothing was counted there, else correct the \
             cell; until then its row is set aside; \"Final stand\" may be a count too",
            "names.\"Stand 5/8\"",
            "names.\"Stand 5/12\"",
            "names.\"Stand 5/20\"",
        ],
        kept: &[],
    },
    Case {
        file: "plots in blocks.csv",
        text: "Field,Year,Block,Plot,2025-05-08,2025-05-12,2025-05-20\nA,2025,1,1,10,20,30\nA,2025,1,2,11,21,31\nA,2025,2,1,12,22,32\nA,2025,2,2,13,23,33\n",
        kind: Some("stand_count"),
        lines: &["strip_id = [\"Block\", \"Plot\"]"],
        questions: &["one \"Plot\" stands in several of \"Block\""],
        kept: &[],
    },
    Case {
        file: "settings in blocks.csv",
        text: "Field,Year,Block,Plot,Closing pressure (psi)\nA,2025,1,1,10\nA,2025,1,2,20\nA,2025,2,1,30\nA,2025,2,2,40\n",
        kind: Some("setting_log"),
        lines: &["strip_id = [\"Block\", \"Plot\"]", "block = \"Block\""],
        questions: &["one \"Plot\" stands in several of \"Block\""],
        kept: &[],
    },
    Case {
        file: "plots of blocks.csv",
        text: "Field,Year,Block,Plot,Stand\nA,2025,1,101,10\nA,2025,1,102,11\nA,2025,2,201,12\nA,2025,2,202,13\n",
        kind: Some("stand_count"),
        lines: &["strip_id = \"Plot\""],
        questions: &["\"Block\" is not read"],
        kept: &[],
    },
    Case {
        file: "merged ids.csv",
        text: "Plot,,Stand,,\nBlock,No,5/8,5/12,5/20\n1,1,10,20,30\n1,2,11,21,31\n2,1,12,22,32\n",
        kind: Some("stand_count"),
        lines: &[
            "header_row = [1, 2]",
            "strip_id = [\"Plot / Block\", \"Plot / No\"]",
            "columns = [\"Stand / 5/8\", \"Stand / 5/12\", \"Stand / 5/20\"]",
        ],
        questions: &[
            "stands in several of",
            "in which year was it planted",
            "no column is called a field",
            "5/8\"",
            "5/12",
            "5/20",
        ],
        kept: &[],
    },
    Case {
        file: "merged behind the field.csv",
        text: "Counts of the trial\nField,Plot,,Stand,,\n,Block,No,5/8,5/12,5/20\nA,1,1,10,20,30\nA,1,2,11,21,31\nA,2,1,12,22,32\n",
        kind: Some("stand_count"),
        lines: &["header_row = [2, 3]", "field_id = \"Field\"", "strip_id = [\"Plot / Block\", \"Plot / No\"]"],
        questions: &["stands in several of", "in which year was it planted", "5/8\"", "5/12", "5/20"],
        kept: &[],
    },
    Case {
        file: "Schläge.csv",
        text: "Schlag;Jahr;Reihenabstand (cm);Saatstärke (Körner/ha)\nA;2025;75;85000\nB;2025;75;90000\n",
        kind: Some("field"),
        lines: &["seed_rate_per_ha = \"Saatstärke (Körner/ha)\""],
        questions: &[],
        kept: &["field_id=A  seed_rate_per_m2=8.5"],
    },
    Case {
        file: "fields a.csv",
        text: "Field,Season,Row width (in),Seeds per ha\nA,2025,30.0,85000\nB,2025,30.0,90000\n",
        kind: Some("field"),
        lines: &["seed_rate_per_ha = \"Seeds per ha\""],
        questions: &[],
        kept: &["field_id=A  seed_rate_per_m2=8.5"],
    },
    Case {
        file: "fields b.csv",
        text: "Field,Season,Row width (in),seeds/ac\nA,2025,30.0,34000\nB,2025,30.0,32000\n",
        kind: Some("field"),
        lines: &["seed_rate_per_ac = \"seeds/ac\""],
        questions: &[],
        kept: &["field_id=A  row_spacing_m=0.762"],
    },
    Case {
        file: "fields c.csv",
        text: "Field,Season,Row width (in),plants/m2\nA,2025,30.0,8.5\nB,2025,30.0,9\n",
        kind: Some("field"),
        lines: &["seed_rate_per_m2 = \"plants/m2\""],
        questions: &["is \"plants/m2\" what we call seed_rate"],
        kept: &[],
    },
    Case {
        file: "fields d.csv",
        text: "Field,Season,Row width (in),k/ac\nA,2025,30.0,34\nB,2025,30.0,32\n",
        kind: Some("field"),
        lines: &["# seed_rate_per_ac = \"k/ac\""],
        questions: &["34000 for 34"],
        kept: &[],
    },
    Case {
        file: "fields e.csv",
        text: "Field,Season,Row width (in),Seeding rate (k/ac)\nA,2025,30.0,34\nB,2025,30.0,32\n",
        kind: Some("field"),
        lines: &["# seed_rate_per_ac = \"Seeding rate (k/ac)\""],
        questions: &["34000 for 34"],
        kept: &[],
    },
    Case {
        file: "log a.csv",
        text: "Field,Season,logged,Closing pressure (psi)\nA,2025,2025-05-01T10:00:00Z,20\nA,2025,2025-05-01T10:00:01Z,21\n",
        kind: Some("setting_log"),
        lines: &["time = \"logged\""],
        questions: &["is \"logged\" what we call time"],
        kept: &[],
    },
    Case {
        file: "scouted.csv",
        text: "Field,Season,Plot,Scouted,Stand\nA,2025,1,2025-05-08,20\nA,2025,1,2025-05-12,31\n",
        kind: Some("stand_count"),
        lines: &["counted_at = \"Scouted\""],
        questions: &["is \"Scouted\" what we call counted_at"],
        kept: &[],
    },
    Case {
        file: "log b.csv",
        text: "Field,Season,timestamp,Closing pressure (psi)\nA,2025,1746093600,20\nA,2025,1746093601,21\n",
        kind: Some("setting_log"),
        lines: &["time = \"timestamp\"", "time_formats = \"%s\""],
        questions: &["look like seconds since 1970"],
        kept: &[],
    },
    Case {
        file: "log c.csv",
        text: "Field,Season,utc,Closing pressure (psi)\nA,2025,1746093600000,20\nA,2025,1746093600200,21\n",
        kind: Some("setting_log"),
        lines: &["time = \"utc\"", "time_formats = \"unix_ms\""],
        questions: &["look like milliseconds since 1970", "is \"utc\" what we call time"],
        kept: &[],
    },
    Case {
        file: "visit 2.csv",
        text: "Field,Season,Plot,Stand\nA,2025,1,20\nA,2025,2,31\n",
        kind: Some("stand_count"),
        lines: &["# constants.counted_at = \"2025-05-08\""],
        questions: &["one visit of several"],
        kept: &[],
    },
    Case {
        file: "dig 2025-05-10.csv",
        text: "Field,Season,Plot,Trench closed\nA,2025,1,yes\nA,2025,2,no\n",
        kind: Some("dig_check"),
        lines: &["constants.dug_at = \"2025-05-10\""],
        questions: &["name of the file says"],
        kept: &[],
    },
    Case {
        file: "merged ids 2025.csv",
        text: "Field,Year,Plot,,Stand,,,Seeds\n,,Block,No,5/8,5/12,5/20,\nA,2025,1,1,10,20,30,34\nA,2025,2,1,11,21,31,34\n",
        kind: Some("stand_count"),
        lines: &["header_row = [1, 2]", "strip_id = [\"Plot / Block\", \"Plot / No\"]", "seeds_sown = \"Seeds\""],
        questions: &["stands in several of", "5/8\"", "5/12", "5/20"],
        kept: &[],
    },
    Case {
        file: "one visit.csv",
        text: "Field,Year,Plot,Stand 5/20\nA,2025,1,-1\nA,2025,2,30\n",
        kind: Some("stand_count"),
        lines: &["columns = [\"Stand 5/20\"]"],
        questions: &["\"Stand 5/20\" holds \"-1\"", "in which year was it counted"],
        kept: &[],
    },
    Case {
        file: "hardly any counts.csv",
        text: "Field,Year,Plot,Stand 5/8,Stand 5/20\nA,2025,1,,-1\nA,2025,2,,x\n",
        kind: Some("stand_count"),
        lines: &["columns = [\"Stand 5/8\", \"Stand 5/20\"]"],
        questions: &[
            "\"Stand 5/8\" holds no count",
            "new since the count",
            "names.\"Stand 5/8\"",
            "names.\"Stand 5/20\"",
        ],
        kept: &[],
    },
    Case {
        file: "readings.csv",
        text: "Field,Season,Plot,T 1,T 2\nA,2025,1,10.5,12.25\nA,2025,2,11,13.5\n",
        kind: None,
        lines: &[],
        questions: &["not recognised"],
        kept: &[],
    },
    // One heading over two columns: it is written once, and asked about.
    Case {
        file: "counts twice.csv",
        text: "Field,Year,Strip,Row length (ft),Plants 2025-05-08,Plants 2025-05-08,Plants 2025-05-12\nNorth,2025,1,17.5,10,11,30\nNorth,2025,2,17.5,12,13,31\n",
        kind: Some("stand_count"),
        lines: &[
            "columns = [\"Plants 2025-05-08\", \"Plants 2025-05-12\"]",
            "names.\"Plants 2025-05-08\" = \"2025-05-08\"",
            "names.\"Plants 2025-05-12\" = \"2025-05-12\"",
        ],
        questions: &["heads more than one column"],
        kept: &[],
    },
    Case {
        file: "invoices.csv",
        text: "Invoice,Amount,Paid\n17,120.50,2025-05-08\n18,99.00,2025-06-01\n",
        kind: None,
        lines: &[],
        questions: &["not recognised"],
        kept: &[],
    },
];

fn proposed(file: &str, bytes: &[u8]) -> Proposal {
    look_at_text(file, bytes).unwrap().propose(file)
}

/// Lines without what is asked behind them.
fn plain(block: &str) -> Vec<&str> {
    block.lines().map(|line| line.split("   # ?").next().unwrap_or(line)).collect()
}

/// What is wrong with a block by itself: it must be settings, and every block in it one that can work.
fn fault(proposal: &Proposal) -> Option<String> {
    let settings = match Settings::parse(&proposal.block) {
        Ok(settings) => settings,
        Err(error) => return Some(error.to_string()),
    };
    if proposal.kind.is_some() == settings.sources.is_empty() {
        return Some("a block and a kind go together".into());
    }
    settings.sources.iter().find_map(|rule| Mapping::new(rule).err())
}

#[test]
fn every_file_gets_the_kind_the_lines_and_the_questions_it_should() {
    let mut faults = Vec::new();
    for case in CASES {
        let proposal = proposed(case.file, case.text.as_bytes());
        let mut wrong = Vec::new();
        wrong.extend(fault(&proposal));
        if proposal.kind != case.kind {
            wrong.push(format!("kind {:?}", proposal.kind));
        }
        let lines = plain(&proposal.block);
        wrong.extend(case.lines.iter().filter(|line| !lines.contains(line)).map(|line| format!("no line {line}")));
        let unasked =
            case.questions.iter().filter(|part| !proposal.questions.iter().any(|question| question.contains(*part)));
        wrong.extend(unasked.map(|part| format!("not asked: {part}")));
        if proposal.questions.len() != case.questions.len() {
            wrong.push(format!("{} questions: {:#?}", proposal.questions.len(), proposal.questions));
        }
        if !wrong.is_empty() {
            faults.push(format!("== {}\n{}\n{}", case.file, wrong.join("\n"), proposal.block));
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

fn review_of(file: &str, bytes: &[u8], settings: &str) -> TestReview {
    let review = TestReview::new(&[]);
    fs::write(review.path().join("raw").join(file), bytes).unwrap();
    fs::write(review.path().join("evenstand.toml"), settings).unwrap();
    review
}

fn json(stdout: &str) -> serde_json::Value {
    serde_json::from_str(stdout).unwrap_or_else(|error| panic!("{error}: {stdout}"))
}

/// Where a row is not what was expected.
fn row_is_missing(rows: &[BTreeMap<String, String>], expected: &str) -> bool {
    let cells: Vec<(&str, &str)> = expected.split("  ").filter_map(|cell| cell.split_once('=')).collect();
    !rows.iter().any(|row| cells.iter().all(|(column, value)| row.get(*column).map(String::as_str) == Some(*value)))
}

#[test]
fn a_block_without_questions_keeps_every_row_once_it_is_pasted() {
    let mut faults = Vec::new();
    let mut tried = 0;
    for case in CASES.iter().filter(|case| case.questions.is_empty() && !case.kept.is_empty()) {
        tried += 1;
        let block = proposed(case.file, case.text.as_bytes()).block;
        let review = review_of(case.file, case.text.as_bytes(), &format!("timezone = \"UTC\"\n{block}"));
        let said = review.run("ingest", &["--json"]);
        let balance = json(&said.stdout);
        if said.status != 0 || balance["rows_read"] != balance["rows_kept"] || balance["rows_kept"] == 0 {
            faults.push(format!("== {}\n{}{}\n{block}", case.file, said.stdout, said.stderr));
            continue;
        }
        let rows = review.kept(case.kind.unwrap());
        for expected in case.kept.iter().filter(|expected| row_is_missing(&rows, expected)) {
            faults.push(format!("== {}\nno row {expected}\n{rows:#?}\n{block}", case.file));
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
    assert!(tried >= 15, "{tried}");
}

#[test]
fn text_that_is_not_utf_8_is_proposed_as_windows_1252_with_a_question() {
    let text = "Schlag;Jahr;Streifen;Länge (m);Bestand\nNörd;2025;1;5,33;30\nNörd;2025;2;5,33;31\n";
    let latin: Vec<u8> = text.chars().map(|letter| letter as u32 as u8).collect();
    let proposal = proposed("bestand.csv", &latin);
    assert_eq!(fault(&proposal), None);
    assert!(plain(&proposal.block).contains(&"encoding = \"windows-1252\""), "{}", proposal.block);
    assert!(proposal.questions.len() == 1 && proposal.questions[0].contains("UTF-8"), "{:?}", proposal.questions);
    let review = review_of("bestand.csv", &latin, &proposal.block);
    let said = review.run("ingest", &["--json"]);
    assert_eq!(json(&said.stdout)["rows_kept"], 2, "{}", said.stderr);
    assert_eq!(review.kept("stand_count")[0]["field_id"], "Nörd");
}

#[test]
fn check_prints_a_block_that_reads_the_file_and_gives_it_as_json() {
    let text = "Paddock,Year,Plot,Plants\nHill,2025,1,30\nHill,2025,2,31\n";
    let review = review_of("my counts.csv", text.as_bytes(), "");
    let said = review.run("check", &[]);
    // Nothing can be read yet, and the block is printed all the same.
    assert_eq!(said.status, 2, "{}", said.stderr);
    assert!(said.stdout.contains("# my counts.csv: looks like stand_count"), "{}", said.stdout);
    let said = review.run("check", &["--json"]);
    let proposals = &json(&said.stdout)["proposals"];
    assert_eq!(
        (proposals[0]["file"].as_str(), proposals[0]["kind"].as_str()),
        (Some("my counts.csv"), Some("stand_count"))
    );
    assert_eq!(proposals[0]["questions"].as_array().map(Vec::len), Some(0));
    review.put("evenstand.toml", proposals[0]["block"].as_str().unwrap());
    let said = review.run("check", &["--json"]);
    assert_eq!((json(&said.stdout)["rows_kept"].as_u64(), said.status), (Some(2), 0), "{}", said.stderr);
    assert_eq!(json(&said.stdout)["proposals"].as_array().map(Vec::len), Some(0));
}

#[test]
fn check_says_what_it_does_not_recognise_and_leaves_usable_files_alone() {
    let review = TestReview::new(&[
        ("stand_count.csv", "field_id,season,strip_id,emerged\nA,2025,1,80\n"),
        ("invoices.csv", "Invoice,Amount\n17,120.50\n18,99.00\n"),
    ]);
    let said = review.run("check", &[]);
    assert_eq!(said.status, 0, "{}", said.stderr);
    assert!(said.stdout.contains("invoices.csv is not recognised"), "{}", said.stdout);
    assert!(!said.stdout.contains("[[source]]"), "{}", said.stdout);
}

#[test]
fn a_parquet_file_of_foreign_names_gets_a_block_too() {
    let columns: [(&str, ArrayRef); 4] = [
        ("Paddock", Arc::new(StringArray::from(vec!["Hill", "Hill"]))),
        ("Yr", Arc::new(Int64Array::from(vec![2025, 2025]))),
        ("stripNo", Arc::new(Int64Array::from(vec![1, 2]))),
        ("standCount", Arc::new(Int64Array::from(vec![Some(30), None]))),
    ];
    let batch = RecordBatch::try_from_iter(columns).unwrap();
    let mut bytes = Vec::new();
    let mut writer = ArrowWriter::try_new(&mut bytes, batch.schema(), None).unwrap();
    writer.write(&batch).unwrap();
    writer.close().unwrap();
    let review = review_of("counts.parquet", &bytes, "");
    let proposals = json(&review.run("check", &["--json"]).stdout)["proposals"].clone();
    assert_eq!(proposals[0]["questions"].as_array().map(Vec::len), Some(0), "{proposals}");
    review.put("evenstand.toml", proposals[0]["block"].as_str().unwrap());
    let said = review.run("ingest", &["--json"]);
    assert_eq!(json(&said.stdout)["rows_kept"], 1, "{}", said.stderr);
    let row = &review.kept("stand_count")[0];
    assert_eq!((row["field_id"].as_str(), row["strip_id"].as_str(), row["emerged"].as_str()), ("Hill", "1", "30"));
}

/// What is proposed for a workbook of sheets that have the same columns.
fn of_sheets(file: &str, sheets: &[&str]) -> Vec<Proposal> {
    let mut book = Workbook::new();
    for name in sheets {
        let sheet = book.add_worksheet().set_name(*name).unwrap();
        for (column, name) in ["Field", "Strip", "Row length (m)", "Plants"].iter().enumerate() {
            sheet.write_string(0, column as u16, *name).unwrap();
        }
        for strip in 1..=2 {
            sheet.write_string(strip, 0, "A").unwrap();
            for (column, number) in [f64::from(strip), 5.0, 30.0].iter().enumerate() {
                sheet.write_number(strip, column as u16 + 1, *number).unwrap();
            }
        }
    }
    let bytes = book.save_to_buffer().unwrap();
    let tables = look_at_workbook(file, bytes).unwrap();
    let proposals: Vec<Proposal> = tables.iter().map(|table| table.propose(file)).collect();
    assert!(proposals.iter().all(|proposal| fault(proposal).is_none()), "{proposals:#?}");
    proposals
}

#[test]
fn sheets_named_by_days_give_the_day_of_their_rows() {
    let known = of_sheets("counts 2025.xlsx", &["10 May", "13 May", "20 May"]);
    for (proposal, day) in known.iter().zip(["2025-05-10", "2025-05-13", "2025-05-20"]) {
        let line = format!("constants.counted_at = \"{day}\"");
        assert!(plain(&proposal.block).contains(&line.as_str()), "{}", proposal.block);
        assert!(proposal.questions.iter().any(|question| question.starts_with(&line)), "{:#?}", proposal.questions);
    }
    assert_eq!(known.len(), 3);
    for proposal in of_sheets("counts.xlsx", &["10 May", "13 May"]) {
        let asked = proposal.questions.iter().any(|question| question.contains("in which year was it"));
        assert!(asked && proposal.block.contains("# constants.counted_at = \"2025-05-1"), "{}", proposal.block);
    }
}

#[test]
fn alike_sheets_without_any_day_are_asked_for_it_and_a_sheet_alone_is_not() {
    for proposal in of_sheets("counts 2025.xlsx", &["first", "second"]) {
        let asked = proposal.questions.iter().any(|question| question.contains("none says when"));
        assert!(asked && proposal.block.contains("# constants.counted_at"), "{}", proposal.block);
    }
    let alone = of_sheets("counts 2025.xlsx", &["first"]);
    assert!(!alone[0].block.contains("counted_at"), "{}", alone[0].block);
}

#[test]
fn files_of_the_same_columns_without_any_day_are_asked_for_it() {
    let review = review_of("north.csv", b"Fld,Year,Strip,Plants\nA,2025,1,30\nA,2025,2,31\n", "");
    let asked = |review: &TestReview| {
        let proposals = json(&review.run("check", &["--json"]).stdout)["proposals"].clone();
        let blocks: Vec<String> =
            proposals.as_array().unwrap().iter().map(|found| found["block"].as_str().unwrap().to_owned()).collect();
        assert!(blocks.iter().all(|block| Settings::parse(block).is_ok()), "{blocks:?}");
        blocks.iter().filter(|block| block.contains("# constants.counted_at = \"2025-05-08\"   # ?")).count()
    };
    assert_eq!(asked(&review), 0);
    fs::write(review.path().join("raw/again.csv"), "Fld,Year,Strip,Plants\nA,2025,1,33\n").unwrap();
    assert_eq!(asked(&review), 2);
}

#[test]
fn plots_numbered_anew_in_each_block_stay_different_strips() {
    let mut text = String::from("Field,Year,Block,Plot,2025-05-08,2025-05-12\n");
    for (block, plot) in (1..=3).flat_map(|block| (1..=3).map(move |plot| (block, plot))) {
        text.push_str(&format!("A,2025,{block},{plot},{},{}\n", 10 + plot, 20 + block));
    }
    let proposal = proposed("trial.csv", text.as_bytes());
    let review = review_of("trial.csv", text.as_bytes(), &format!("timezone = \"UTC\"\n{}", proposal.block));
    let said = review.run("ingest", &["--json"]);
    assert_eq!(said.status, 0, "{}", said.stderr);
    let strips: BTreeSet<String> = review.kept("stand_count").iter().map(|row| row["strip_id"].clone()).collect();
    assert_eq!(strips.len(), 9, "{strips:?}\n{}", proposal.block);
    // The block of a setting log is read for itself as well.
    let log = "Field,Year,Block,Plot,Closing pressure (psi)\nA,2025,1,1,10\nA,2025,2,1,30\n";
    let proposal = proposed("settings.csv", log.as_bytes());
    let review = review_of("settings.csv", log.as_bytes(), &proposal.block);
    let said = review.run("ingest", &["--json"]);
    assert_eq!((said.status, json(&said.stdout)["rows_kept"].as_u64()), (0, Some(2)), "{}", said.stderr);
    let rows = review.kept("setting_log");
    assert_eq!((rows[1]["strip_id"].as_str(), rows[1]["block"].as_str()), ("2-1", "2"));
}

/// Files under a folder of optional open data, in order.
fn open_data(folder: &str) -> Vec<(String, Vec<u8>)> {
    let Some(folder) = shared(folder) else { return Vec::new() };
    let name = |path: &Path| path.file_name().unwrap().to_string_lossy().into_owned();
    let mut files: Vec<_> = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    files.sort();
    files.retain(|path| path.extension().is_some_and(|ending| ending == "csv"));
    files.iter().map(|path| (name(path), fs::read(path).unwrap())).collect()
}

/// Open data, as published; sources stand beside the files.
#[test]
fn open_data_of_ours_is_recognised_and_data_of_other_things_is_not() {
    for (file, bytes) in open_data("data/emergence").into_iter().chain(open_data("data/weather_soil")) {
        let proposal = proposed(&file, &bytes);
        assert_eq!(fault(&proposal), None, "{file}");
        let lines = plain(&proposal.block);
        let expected = match file.as_str() {
            "maize_hips_2022_standcount.csv" => {
                assert!(lines.contains(&"emerged = \"totalStandCount\""), "{}", proposal.block);
                assert!(lines.contains(&"field_id = \"location\""), "{}", proposal.block);
                let asked = proposal.questions.iter().any(|question| {
                    question.contains("row_length_") && question.contains("plotLength") && question.contains("unit")
                });
                assert!(asked, "{:#?}", proposal.questions);
                Some("stand_count")
            }
            "uscrn_daily_2020_IA_54902.csv" | "uscrn_daily_2020_NE_94995.csv" => {
                assert!(lines.contains(&"time_formats = \"%Y%m%d\""), "{}", proposal.block);
                assert!(lines.contains(&"tmax_c = \"t_daily_max\""), "{}", proposal.block);
                Some("weather")
            }
            "vega.seattle-weather.csv" => Some("weather"),
            _ => None,
        };
        assert_eq!(proposal.kind, expected, "{file}\n{}", proposal.block);
    }
}

#[test]
fn any_bytes_give_a_block_that_can_be_pasted() {
    let pieces = [
        "Field",
        "Strip",
        "Plants",
        "Date",
        "Stand May 8",
        "V1",
        "Day 7",
        "Row length (ft)",
        "Yield",
        "Tillage",
        "closing psi",
        "\"",
        "'",
        "\"\"\"",
        "\\",
        "\\u0000",
        "[",
        "]]",
        "{",
        "#",
        "=",
        "*",
        "?",
        "\u{0}",
        "\u{1b}",
        "\u{7f}",
        "\u{85}",
        "\u{2028}",
        "🌽",
        "é",
        "\n",
        "\r\n",
        "\r",
        ",",
        ",",
        ",",
        ";",
        ";",
        "\t",
        "|",
        " ",
        "5",
        "17.5",
        "5,3",
        "-9999",
        "1e999",
        "2025-05-08",
        "08.05.2025",
        "5/8/2025",
        "99/99/9999",
        "x",
        "NA",
        "Total",
        "%",
        "(",
        ")",
        "/",
        " / ",
        "#1",
        "%Y",
        "\u{feff}",
        "closed",
        "tmax_f",
        "rain_mm",
        "field_id",
        "season",
        "strip_id",
        "emerged",
        "9999999999999999999999",
        "May 31",
        "Feb 30",
        "31.02.",
    ];
    let mut random = ChaCha8Rng::seed_from_u64(7);
    for round in 0..1500 {
        let mut bytes: Vec<u8> = Vec::new();
        let rows = random.random_range(0..8);
        for _ in 0..rows {
            for _ in 0..random.random_range(0..12) {
                if random.random_range(0..40) == 0 {
                    bytes.push(random.random());
                }
                bytes.extend(pieces[random.random_range(0..pieces.len())].as_bytes());
                if random.random() {
                    bytes.push(b',');
                }
            }
            bytes.push(b'\n');
        }
        let file = ["counts 2025.csv", "a\"b\\[*].csv", "weather.txt", "stand_count.csv"][round % 4];
        let proposal = proposed(file, &bytes);
        assert_eq!(fault(&proposal), None, "round {round}: {:?}\n{}", String::from_utf8_lossy(&bytes), proposal.block);
        assert_eq!(proposal, proposed(file, &bytes), "round {round}");
    }
}

#[test]
fn a_file_that_cannot_be_looked_at_is_named_with_the_reason() {
    let review = TestReview::new(&[
        ("client.xls", "<html><body><table><tr><td>1</td></tr></table></body></html>"),
        ("stand_count.csv", "field_id,season,strip_id,emerged\nA,2025,1,80\n"),
    ]);
    let said = review.run("check", &[]);
    assert!(said.stdout.contains("client.xls") && said.stdout.contains("HTML"), "{}", said.stdout);
}

#[test]
fn plants_on_an_acre_are_not_proposed_as_plants_counted() {
    let review = TestReview::new(&[("stand spring.csv", "Field,Strip,Population\nNorth,1,31000\nNorth,2,30500\n")]);
    let said = review.run("check", &[]);
    assert!(
        said.stdout.contains("# emerged = \"Population\"   # ?") && said.stdout.contains("acre"),
        "{}",
        said.stdout
    );
}
