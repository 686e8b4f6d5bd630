//! Published data sets, typed in where they are short, and the models fitted to them.

use crate::data::{Factor, Table};
use evenstand_stats::{Design, RandomTerm};
use ndarray::Array2;

/// Yields of oats in a split-plot trial: six blocks, three varieties, four nitrogen rates (0, 0.2, 0.4, 0.6).
/// Yates (1935), Complex experiments, J. R. Stat. Soc. Suppl. 2, 181-247; also `yates.oats` of agridat (MIT).
const OATS: [(&str, &str, [u32; 4]); 18] = [
    ("I", "Victory", [111, 130, 157, 174]),
    ("I", "Golden Rain", [117, 114, 161, 141]),
    ("I", "Marvellous", [105, 140, 118, 156]),
    ("II", "Victory", [61, 91, 97, 100]),
    ("II", "Golden Rain", [70, 108, 126, 149]),
    ("II", "Marvellous", [96, 124, 121, 144]),
    ("III", "Victory", [68, 64, 112, 86]),
    ("III", "Golden Rain", [60, 102, 89, 96]),
    ("III", "Marvellous", [89, 129, 132, 124]),
    ("IV", "Victory", [74, 89, 81, 122]),
    ("IV", "Golden Rain", [64, 103, 132, 133]),
    ("IV", "Marvellous", [70, 89, 104, 117]),
    ("V", "Victory", [62, 90, 100, 116]),
    ("V", "Golden Rain", [80, 82, 94, 126]),
    ("V", "Marvellous", [63, 70, 109, 99]),
    ("VI", "Victory", [53, 74, 118, 113]),
    ("VI", "Golden Rain", [89, 82, 86, 104]),
    ("VI", "Marvellous", [97, 99, 119, 121]),
];

/// Plots left out in the unbalanced variant: block, variety, position of the nitrogen rate. Chosen by the author of the expected values.
const LEFT_OUT: [(&str, &str, usize); 7] = [
    ("I", "Victory", 2),
    ("II", "Golden Rain", 0),
    ("II", "Golden Rain", 1),
    ("IV", "Victory", 3),
    ("V", "Golden Rain", 2),
    ("VI", "Golden Rain", 1),
    ("VI", "Marvellous", 1),
];

/// Rice yield (kg/ha) by seeding rate (kg/ha) in four blocks. Gomez & Gomez (1984), Statistical Procedures for Agricultural
/// Research, page 26; `gomez.seedrate` of agridat (MIT).
const SEEDRATE: [(u32, [u32; 4]); 6] = [
    (25, [5113, 5398, 5307, 4678]),
    (50, [5346, 5952, 4719, 4264]),
    (75, [5272, 5713, 5483, 4749]),
    (100, [5164, 4831, 4986, 4410]),
    (125, [4804, 4848, 4432, 4748]),
    (150, [5254, 4542, 4919, 4098]),
];

/// Yield of dyestuff (grams of standard colour) of five preparations from each of six batches.
/// Davies & Goldsmith (1972), Statistical Methods in Research and Production, 4th edition.
const DYESTUFF: [(&str, [u32; 5]); 6] = [
    ("A", [1545, 1440, 1440, 1520, 1580]),
    ("B", [1540, 1555, 1490, 1560, 1495]),
    ("C", [1595, 1550, 1605, 1510, 1560]),
    ("D", [1445, 1440, 1595, 1465, 1545]),
    ("E", [1595, 1630, 1515, 1635, 1625]),
    ("F", [1520, 1455, 1450, 1480, 1445]),
];

pub fn oats(balanced: bool) -> Table {
    let mut rows = Vec::new();
    for (block, variety, yields) in OATS {
        for (position, value) in yields.iter().enumerate() {
            if balanced || !LEFT_OUT.contains(&(block, variety, position)) {
                let nitro = ["0", "0.2", "0.4", "0.6"][position];
                rows.push(vec![block.into(), variety.into(), nitro.into(), value.to_string()]);
            }
        }
    }
    Table::from_rows(&["Block", "Variety", "nitro", "yield"], rows)
}

pub fn seedrate() -> Table {
    let mut rows = Vec::new();
    for (rate, yields) in SEEDRATE {
        for (block, value) in yields.iter().enumerate() {
            rows.push(vec![rate.to_string(), format!("R{}", block + 1), value.to_string()]);
        }
    }
    Table::from_rows(&["rate", "rep", "yield"], rows)
}

pub fn dyestuff() -> Table {
    let mut rows = Vec::new();
    for (batch, yields) in DYESTUFF {
        rows.extend(yields.iter().map(|value| vec![batch.into(), value.to_string()]));
    }
    Table::from_rows(&["Batch", "Yield"], rows)
}

/// Fixed columns under construction, with treatment contrasts: the first level of a factor is the baseline.
pub struct Columns {
    rows: usize,
    named: Vec<(String, Vec<f64>)>,
}

impl Columns {
    pub fn intercept(rows: usize) -> Self {
        Self { rows, named: vec![("(Intercept)".into(), vec![1.0; rows])] }
    }

    pub fn number(mut self, name: &str, values: Vec<f64>) -> Self {
        self.named.push((name.into(), values));
        self
    }

    pub fn factor(mut self, prefix: &str, factor: &Factor) -> Self {
        self.named.extend(indicators(prefix, factor));
        self
    }

    /// The interaction of two factors, the first varying fastest.
    pub fn interaction(mut self, first: (&str, &Factor), second: (&str, &Factor)) -> Self {
        for (name_b, b) in indicators(second.0, second.1) {
            for (name_a, a) in indicators(first.0, first.1) {
                let product = a.iter().zip(&b).map(|(x, y)| x * y).collect();
                self.named.push((format!("{name_a}:{name_b}"), product));
            }
        }
        self
    }

    pub fn design(self, response: Vec<f64>, random: Vec<RandomTerm>) -> Design {
        let fixed = Array2::from_shape_fn((self.rows, self.named.len()), |(i, j)| self.named[j].1[i]);
        let names = self.named.into_iter().map(|(name, _)| name).collect();
        Design::new(response, fixed, names, random, None).expect("valid design")
    }
}

fn indicators(prefix: &str, factor: &Factor) -> Vec<(String, Vec<f64>)> {
    (1..factor.labels.len())
        .map(|level| {
            let column = factor.codes.iter().map(|&code| f64::from(u8::from(code == level))).collect();
            (format!("{prefix}{}", factor.labels[level]), column)
        })
        .collect()
}

fn intercepts(name: &str, factor: Factor) -> RandomTerm {
    RandomTerm::intercept(name, factor.codes, factor.labels.len())
}

fn squares(values: &[f64]) -> Vec<f64> {
    values.iter().map(|value| value * value).collect()
}

fn split_plot_terms(table: &Table) -> Vec<RandomTerm> {
    vec![intercepts("Variety:Block", table.crossed("Variety", "Block")), intercepts("Block", table.factor("Block"))]
}

/// The model behind an entry of `cases/lmm.json`; `None` when its data are not here.
pub fn model(id: &str) -> Option<Design> {
    Some(match id {
        "oats-splitplot-factor" | "oats-unbalanced" => {
            let table = oats(id == "oats-splitplot-factor");
            let (variety, nitro) = (table.factor("Variety"), table.factor("nitro"));
            Columns::intercept(table.rows())
                .factor("Variety", &variety)
                .factor("nf", &nitro)
                .interaction(("Variety", &variety), ("nf", &nitro))
                .design(table.numbers("yield"), split_plot_terms(&table))
        }
        "oats-additive-variety" => {
            let table = oats(true);
            Columns::intercept(72)
                .factor("nf", &table.factor("nitro"))
                .factor("Variety", &table.factor("Variety"))
                .design(table.numbers("yield"), split_plot_terms(&table))
        }
        "oats-quadratic" => {
            let table = oats(true);
            let nitro = table.numbers("nitro");
            Columns::intercept(72)
                .factor("Variety", &table.factor("Variety"))
                .number("nitro", nitro.clone())
                .number("I(nitro^2)", squares(&nitro))
                .design(table.numbers("yield"), split_plot_terms(&table))
        }
        "seedrate-rcb" | "seedrate-quadratic" => {
            let table = seedrate();
            let rate = table.numbers("rate");
            let columns = Columns::intercept(24);
            let columns = if id == "seedrate-rcb" {
                columns.factor("rf", &table.factor("rate"))
            } else {
                columns.number("rate", rate.clone()).number("I(rate^2)", squares(&rate))
            };
            columns.design(table.numbers("yield"), vec![intercepts("rep", table.factor("rep"))])
        }
        "dyestuff" => {
            let table = dyestuff();
            Columns::intercept(30).design(table.numbers("Yield"), vec![intercepts("Batch", table.factor("Batch"))])
        }
        _ => return shared_model(id),
    })
}

/// Models of data that live only in the optional folder beside the repository.
fn shared_model(id: &str) -> Option<Design> {
    let file = match id {
        "sleepstudy-corr" | "sleepstudy-uncorr" | "sleepstudy-intercept" => "sleepstudy.csv",
        "dyestuff2-boundary" => "dyestuff2.csv",
        "penicillin-crossed" => "penicillin.csv",
        "cake" => "cake.csv",
        "npk" => "npk.csv",
        "corn-quadratic-locyear" | "corn-randomslope" => "corn_nitro.csv",
        other => panic!("no model named {other}"),
    };
    let table = Table::from_shared(file)?;
    let columns = Columns::intercept(table.rows());
    Some(match file {
        "sleepstudy.csv" => {
            let days = table.numbers("Days");
            let subject = table.factor("Subject");
            if id == "sleepstudy-corr" {
                let both = vec![("(Intercept)".into(), vec![1.0; table.rows()]), ("Days".into(), days.clone())];
                let term = RandomTerm::correlated("Subject", subject.codes, subject.labels.len(), both);
                return Some(columns.number("Days", days).design(table.numbers("Reaction"), vec![term]));
            }
            let mut random = vec![intercepts("Subject", table.factor("Subject"))];
            if id == "sleepstudy-uncorr" {
                random.push(RandomTerm::slope("Days", subject.codes, subject.labels.len(), days.clone()));
            }
            columns.number("Days", days).design(table.numbers("Reaction"), random)
        }
        "dyestuff2.csv" => columns.design(table.numbers("Yield"), vec![intercepts("Batch", table.factor("Batch"))]),
        "penicillin.csv" => columns.design(
            table.numbers("diameter"),
            vec![intercepts("plate", table.factor("plate")), intercepts("sample", table.factor("sample"))],
        ),
        "cake.csv" => {
            let (recipe, temperature) = (table.factor("recipe"), table.factor("temperature"));
            columns
                .factor("recipe", &recipe)
                .factor("temperature", &temperature)
                .interaction(("recipe", &recipe), ("temperature", &temperature))
                .design(table.numbers("angle"), vec![intercepts("recrep", table.crossed("recipe", "replicate"))])
        }
        "npk.csv" => {
            let [n, p, k] = ["N", "P", "K"].map(|name| table.factor(name));
            columns
                .factor("N", &n)
                .factor("P", &p)
                .factor("K", &k)
                .interaction(("N", &n), ("P", &p))
                .interaction(("N", &n), ("K", &k))
                .interaction(("P", &p), ("K", &k))
                .design(table.numbers("yield"), vec![intercepts("block", table.factor("block"))])
        }
        _ => {
            let x: Vec<f64> = table.numbers("nitro").iter().map(|nitro| nitro / 100.0).collect();
            let place = table.crossed("loc", "year");
            let mut random = vec![intercepts("ly", table.crossed("loc", "year"))];
            if id == "corn-randomslope" {
                random.push(RandomTerm::slope("x", place.codes, place.labels.len(), x.clone()));
            }
            columns.number("x", x.clone()).number("I(x^2)", squares(&x)).design(table.numbers("yield"), random)
        }
    })
}

/// Relative yield against soil potassium. Cate & Nelson (1971), Soil Sci. Soc. Am. J. 35, 658-660; also `cate.potassium` of agridat (MIT).
const POTASSIUM: [(u32, f64); 24] = [
    (26, 53.5),
    (28, 64.8),
    (30, 63.0),
    (31, 40.8),
    (34, 79.5),
    (35, 70.3),
    (40, 63.0),
    (44, 64.0),
    (49, 94.0),
    (56, 99.0),
    (68, 66.5),
    (75, 103.0),
    (77, 97.3),
    (78, 85.3),
    (78, 101.3),
    (102, 97.0),
    (118, 96.8),
    (118, 98.0),
    (131, 85.8),
    (133, 92.3),
    (133, 96.8),
    (152, 88.3),
    (193, 106.8),
    (211, 97.5),
];

/// Corn yield at six nitrogen rates, Jackson 1962. Engelstad & Parks (1971), Agron. J. 63, 21-23; also `engelstad.nitro` of agridat (MIT).
const JACKSON_1962: [(u32, f64); 6] = [(0, 46.5), (67, 59.0), (134, 71.9), (201, 73.1), (268, 74.5), (335, 75.5)];

/// x and response of a short table.
pub fn potassium() -> (Vec<f64>, Vec<f64>) {
    POTASSIUM.iter().map(|(x, y)| (f64::from(*x), *y)).unzip()
}

/// x and response of a short table.
pub fn jackson_1962() -> (Vec<f64>, Vec<f64>) {
    JACKSON_1962.iter().map(|(x, y)| (f64::from(*x), *y)).unzip()
}
