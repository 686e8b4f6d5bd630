//! store/ → results/.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use evenstand_agronomy::Kind;
use evenstand_link::{Kept, Linked, Traced, link, read_logs};
use evenstand_model::{Answers, LastStart, Questions, YearOnYear, analyse, year_on_year};
use evenstand_settings::{Axis, Settings};
use evenstand_store::{
    KeptStore, NewResults, ResultTable, made_from, note_made_from, read_result, read_strip_totals, replace_folder,
};
use evenstand_tables::rows::{ModelRow, SetAsideRow, StartingPointRow, StripRow, TraceRow};
use evenstand_tables::{Finding, LongTable, Row};

use crate::failure::Failure;
use crate::last_season::last_season;
use crate::made_from;
use crate::review::Review;
use crate::run_record::{Beside, data_hash, run_record};
use crate::voice::Voice;

/// Works out results/ from store/; telemetry from a file of totals, where one is given. Where everything is as it was, the results stay.
pub fn model(review: &Review, totals: Option<&Path>, voice: &mut Voice) -> Result<bool, Failure> {
    let store = store_of(review)?;
    let (last, last_hash) = last_season(review)?.map_or_else(Default::default, |(starts, hash)| (starts, Some(hash)));
    // Results from totals say less than those from the telemetry itself, and are never taken for these.
    let from = match totals {
        Some(_) => None,
        None => made_from::of_store(review, &title(&review.settings, &review.folder), last_hash.as_deref()),
    };
    let up_to_date = !review.afresh && from.is_some() && made_from(&review.results) == from;
    let modelled = if up_to_date {
        voice.note("results/ is up to date: nothing that it hangs on has changed.");
        Modelled::read(&review.results, &store)?
    } else {
        let beside = Beside { last_season: last_hash.as_deref(), totals };
        // By a thread of the pool: what one thread lets go is not given to others, and the fits, which run there, need what linking had.
        rayon::scope(|_| work_out(review, &store, &last, beside, from.as_deref(), voice))?
    };
    voice.findings(&modelled.findings);
    voice.fact("strips", modelled.strips);
    voice.fact("answers", modelled.answered);
    voice.fact("answers_open", modelled.open);
    voice.note(&format!(
        "Linked {} strips; {} conditions have a starting point, {} stay open.",
        modelled.strips, modelled.answered, modelled.open
    ));
    Ok(modelled.open > 0 || modelled.answered == 0)
}

/// What is said of results.
struct Modelled {
    /// Findings that reading the files did not bring up, the gravest first.
    findings: Vec<Finding>,
    strips: usize,
    answered: usize,
    open: usize,
}

impl Modelled {
    fn new(findings: Vec<Finding>, strips: usize, starts: &[StartingPointRow]) -> Self {
        let open = starts.iter().filter(|row| row.primary == Some(true) && row.evidence == "open").count();
        let answered = starts.iter().filter(|row| row.primary == Some(true)).count() - open;
        Self { findings, strips, answered, open }
    }

    /// Takes it from results that are there.
    fn read(results: &Path, store: &KeptStore) -> Result<Self, Failure> {
        let mut of_ingest = BTreeMap::new();
        for finding in store.read_whole::<Finding>()? {
            *of_ingest.entry(finding.severity).or_insert(0) += 1;
        }
        // Among findings of one severity those of reading files come first.
        let mut findings: Vec<Finding> = read_result(results)?;
        findings.retain(|finding| match of_ingest.get_mut(&finding.severity) {
            Some(left) if *left > 0 => {
                *left -= 1;
                false
            }
            _ => true,
        });
        let strips: Vec<StripRow> = read_result(results)?;
        Ok(Self::new(findings, strips.len(), &read_result::<StartingPointRow>(results)?))
    }
}

/// The gravest first; otherwise in the order given.
fn by_severity(findings: &mut [Finding]) {
    findings.sort_by_key(|finding| ["error", "warning", "note"].iter().position(|word| *word == finding.severity));
}

/// Links, fits and writes results/. What linking gives beside the strips is written and let go before the fits, which take the most memory.
fn work_out(
    review: &Review,
    store: &KeptStore,
    last: &[LastStart],
    beside: Beside,
    from: Option<&str>,
    voice: &Voice,
) -> Result<Modelled, Failure> {
    let record = run_record(review, store, &title(&review.settings, &review.folder), beside)?;
    let run = run_facts(review, store, beside.last_season);
    let mut modelled = None;
    replace_folder(&review.results, |folder| -> Result<(), Failure> {
        from.map_or(Ok(()), |from| note_made_from(folder, from))?;
        let mut results = NewResults::new(folder);
        voice.stage("linking strips", 2);
        let mut linked = linked(store, beside.totals, &review.settings, folder)?;
        voice.step();
        let traces = std::mem::take(&mut linked.traces);
        results.write(tables_beside(&linked, traces))?;
        let linked = asked_for(linked);
        voice.stage("fitting curves", 1);
        let answers = analyse(&Questions {
            strips: &linked.strips,
            measures: &linked.strip_measures,
            digs: &linked.digs,
            settings: &linked.settings,
        });
        let years = year_on_year(&answers.starting_points, last, &linked.strips, &linked.strip_measures);
        voice.stage_done();
        let mut new_findings: Vec<Finding> = linked.findings.iter().chain(&answers.findings).cloned().collect();
        let set_aside: Vec<SetAsideRow> = store.read_whole()?;
        let mut findings: Vec<Finding> = store.read_whole()?;
        findings.extend(new_findings.iter().cloned());
        by_severity(&mut findings);
        by_severity(&mut new_findings);
        let model: Vec<ModelRow> = run.into_iter().chain(answers.model.iter().cloned()).collect();
        results.write(answer_tables(&linked, &answers, &years))?;
        results.write(vec![table(&findings), table(&set_aside), table(&model)])?;
        modelled = Some(Modelled::new(new_findings, linked.strips.len(), &answers.starting_points));
        Ok(results.finish(&record)?)
    })?;
    modelled.ok_or_else(|| Failure::new("results/ was not made", "run the command again"))
}

/// The store of a review. Errors where nothing was ingested yet.
pub fn store_of(review: &Review) -> Result<KeptStore, Failure> {
    if !review.store.exists() {
        return Err(Failure::new(
            format!("{} is not there", review.store.display()),
            format!("run `evenstand ingest {}` first, or `evenstand run`", review.folder.display()),
        ));
    }
    Ok(KeptStore::open_checked(&review.store)?)
}

/// Setting logs by season, as the files they stand in.
pub fn setting_logs_of(store: &KeptStore) -> Result<Vec<(i64, Vec<PathBuf>)>, Failure> {
    let seasons = store.season_files("setting_log")?;
    Ok(seasons.into_iter().map(|season| (season.season, season.files)).collect())
}

/// Everything in the store tied together; telemetry from a file of totals, where one is given. What need not stay in memory meanwhile waits on the
/// disk of `folder`.
pub fn linked(store: &KeptStore, totals: Option<&Path>, settings: &Settings, folder: &Path) -> Result<Linked, Failure> {
    let fields = store.read()?;
    let totals = totals.map(read_strip_totals).transpose()?;
    let logs = read_logs(&setting_logs_of(store)?, &fields, totals, settings, folder)?;
    let kept = Kept {
        fields,
        strips: store.read()?,
        soil: store.read()?,
        digs: store.read()?,
        counts: store.read_long()?,
        spacing: store.read()?,
        plants: store.read()?,
        measures: store.read()?,
        weather: store.read()?,
    };
    Ok(link(kept, logs, settings)?)
}

/// Facts about the run: enough to repeat it, and to show it in the person's units.
fn run_facts(review: &Review, store: &KeptStore, last_season: Option<&str>) -> Vec<ModelRow> {
    let settings = &review.settings;
    let fact = |name: &str, value: Option<f64>, text: Option<String>| ModelRow {
        model: "run".into(),
        response: None,
        item: "run".into(),
        name: name.into(),
        value,
        std_error: None,
        text,
    };
    let text = |name: &str, text: &str| fact(name, None, Some(text.to_owned()));
    let number = |name: &str, value: f64| fact(name, Some(value), None);
    let label = |kind: Kind, suffix: &str| kind.label(suffix).unwrap_or(suffix).to_owned();
    vec![
        text("review", &title(settings, &review.folder)),
        text("version", env!("CARGO_PKG_VERSION")),
        text("data_hash", &data_hash(review, store, last_season)),
        text("settings", &review.settings_text),
        fact("seed", Some(settings.analysis.seed as f64), None),
        number("draws", settings.analysis.draws as f64),
        number("on_time_window_h", settings.analysis.on_time_window_h),
        number("min_speed_m_s", settings.analysis.min_speed_m_s),
        number("open_share", settings.dig.open_share),
        number("firm_share", settings.dig.firm_share),
        text("axis", if settings.analysis.axis == Axis::Set { "set" } else { "actual" }),
        number("interval_level", 0.90),
        text("primary", settings.analysis.primary.as_deref().unwrap_or("on_time_share")),
        text("force_unit", &label(Kind::Force, settings.display.force())),
        text("speed_unit", &label(Kind::Speed, settings.display.speed())),
    ]
}

/// The name of a review; without one that of its folder, also where it is given as `.`.
fn title(settings: &Settings, folder: &Path) -> String {
    settings.name.clone().unwrap_or_else(|| {
        let whole = folder.file_name().map_or_else(|| folder.canonicalize().ok(), |_| Some(folder.to_owned()));
        let name = whole.as_deref().and_then(Path::file_name).map(|name| name.to_string_lossy().into_owned());
        name.map_or_else(|| "Review".to_owned(), |name| name.replace(['-', '_'], " "))
    })
}

/// A table on its way into results/.
type NewTable<'a> = ResultTable<'a, Failure>;

/// Rows of structs that become columns together.
const PART: usize = 4096;

fn table<R: Row + Sync>(rows: &[R]) -> NewTable<'_> {
    NewTable::of::<R>(rows.chunks(PART).map(|part| Ok(R::to_table(part)?)))
}

fn long<R: Row>(rows: &LongTable<R>) -> NewTable<'_> {
    NewTable::of::<R>(rows.parts().map(|part| Ok(part?)))
}

/// What linking gives beside the tables that the fits ask for.
fn tables_beside(linked: &Linked, traces: Traced) -> Vec<NewTable<'_>> {
    vec![
        table(&linked.field_seasons),
        table(&linked.planters),
        long(&linked.courses),
        table(&linked.course_means),
        table(&linked.telemetry),
        table(&linked.set_actual),
        table(&linked.calibrations),
        table(&linked.conditions),
        NewTable::of::<TraceRow>(traces.parts().map(|part| Ok(part?))),
        table(&linked.outlines),
        table(&linked.recorded),
        table(&linked.sources),
    ]
}

/// The rest: what the fits ask for.
fn asked_for(linked: Linked) -> Linked {
    let Linked { strips, strip_measures, digs, findings, settings, .. } = linked;
    Linked { strips, strip_measures, digs, findings, settings, ..Linked::default() }
}

/// What was asked for, and the answers.
fn answer_tables<'a>(linked: &'a Linked, answers: &'a Answers, years: &'a YearOnYear) -> Vec<NewTable<'a>> {
    vec![
        table(&answers.starting_points),
        table(&answers.sensitivity),
        table(&answers.settings),
        table(&linked.strips),
        table(&linked.strip_measures),
        table(&answers.curves),
        long(&answers.field_curves),
        long(&answers.adjusted),
        long(&answers.comparisons),
        table(&answers.factors),
        table(&answers.next_trials),
        table(&answers.shapes),
        table(&linked.digs),
        table(&answers.dig_window),
        table(&answers.dig_curves),
        table(&answers.dig_levels),
        table(&answers.dig_checklist),
        table(&answers.dig_stand),
        table(&answers.field_effects),
        table(&years.since_last),
        table(&years.followed),
    ]
}
