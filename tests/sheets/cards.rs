//! The printable cards.

use evenstand_settings::Settings;
use evenstand_sheets::{Options, UnitSystem, record_sheets};

use crate::{POSITIONS, sheets, text};

#[test]
fn cards_escape_names_and_print_the_strips_of_the_season() {
    let made = sheets(POSITIONS, &Options::default());
    let cab = text(&made, "cab-card.html");
    assert!(cab.contains("&lt;script&gt;") && !cab.contains("<script") && cab.contains("light &lt;b&gt;"));
    assert!(cab.contains("position: =1+1, 3-4"), "the knob of the planter that the field names");
    assert!(cab.contains("<td>10<small>") && !cab.contains(">S1<"), "strips of 2026 and not of 2024");
    assert_eq!(cab.matches("<section>").count(), 2, "a page a field");
    let earlier = sheets("", &Options { season: Some(2024), ..Options::default() });
    assert!(text(&earlier, "cab-card.html").contains(">S1<"));
    let nothing = record_sheets(&Settings::default(), &[], &[], &Options::default()).unwrap();
    assert_eq!(text(&nothing, "cab-card.html").matches("<section>").count(), 1);
}

#[test]
fn the_dig_card_asks_for_every_column_of_a_dig_in_the_order_of_its_sheet() {
    let made = sheets("", &Options { system: Some(UnitSystem::Us), ..Options::default() });
    let card = text(&made, "dig-card.html");
    let asked: Vec<&str> = card.split("<code>").skip(1).filter_map(|rest| rest.split("</code>").next()).collect();
    let csv = text(&made, "dig_check.csv");
    let mut header = csv.lines().next().unwrap().split(',');
    assert_eq!((header.next(), header.next()), (Some("field_id"), Some("season")));
    let of_a_place: Vec<&str> = header.take_while(|name| *name != "lat").collect();
    // The last word of code says which table the answers go to.
    assert_eq!(asked, [of_a_place, vec!["dig_check"]].concat());
    assert!(card.contains("5 needs a tool"));
}

#[test]
fn the_feel_card_has_a_row_a_texture_group_and_the_words_of_the_settings_over_its_bands() {
    let bands = |card: &str| -> Vec<String> {
        card.split("<strong>").skip(1).map(|rest| rest.split("</strong>").next().unwrap().to_owned()).collect()
    };
    let made = sheets("", &Options::default());
    let card = text(&made, "feel-card.html");
    assert_eq!(bands(&card), ["dry", "moist", "moist", "wet", "wet"]);
    assert_eq!(card.matches("<td>").count(), 4 * 5);
    assert_eq!(card.matches("<td>–</td>").count(), 2, "what could not be read is left open");
    assert!(card.contains("NRCS") && card.matches("<section>").count() == 1);
    let own = sheets("[condition]\navailable_water = [0.25, 0.6]", &Options::default());
    assert_eq!(bands(&text(&own, "feel-card.html")), ["dry", "moist", "moist to wet", "wet", "wet"]);
}

#[test]
fn the_weigh_card_has_a_page_a_planter_with_its_settings_and_what_is_typed_in_reads_back() {
    let planters = "[[planter]]\nid = \"air\"\n[planter.closing]\nkind = \"pressure\"\nactuator = \"air\"\nmax_psi = 60\n[[planter]]\nid = \"<springs>\"\n[planter.closing]\nkind = \"positions\"\npositions = [{ label = \"light\" }, { label = \"heavy\" }]";
    let card = text(&sheets(planters, &Options::default()), "weigh-card.html");
    assert_eq!(card.matches("<section>").count(), 2);
    assert!(card.contains("Pressure (psi)") && card.contains("<td>light</td>") && card.contains("&lt;springs&gt;"));
    let (air, springs) = card.split_at(card.find("&lt;springs&gt;").unwrap());
    assert!(air.contains("Pressure let off to zero") && springs.contains("Springs unloaded while"));
    assert_eq!(text(&sheets("", &Options::default()), "weigh-card.html").matches("<section>").count(), 1);
    // The example on the card is what the settings take.
    let read = Settings::parse(
        "[[planter]]\nid = \"a\"\n[planter.closing]\nkind = \"pressure\"\nweighed = [{ pressure_psi = 20, force_n = [182, 174, 178] }, { pressure_psi = 40, force_n = 360 }]",
    );
    assert!(read.is_ok());
    assert!(card.contains("weighed = [{ pressure_psi = 20, force_n = [182, 174, 178] }"));
}

#[test]
fn pages_need_nothing_from_elsewhere_and_carry_the_cautions() {
    let made = sheets("", &Options::default());
    for name in ["cab-card.html", "dig-card.html", "feel-card.html", "weigh-card.html"] {
        let page = text(&made, name);
        assert!(
            !page.contains("<script") && !page.contains("http") && !page.contains("src=") && !page.contains("url(")
        );
        // Nobody reaches under a planter to feel a handful of soil.
        let cautions = page.contains("Stop the engine") && page.contains("Let the pressure off");
        assert_eq!(cautions, name != "feel-card.html", "{name}");
        assert!(page.ends_with("</html>\n"), "{name}");
    }
}
