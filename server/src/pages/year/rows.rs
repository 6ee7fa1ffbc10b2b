//! A section of the company's year as a row: its figures, its bar, and what there is to say of it.

use domain::statement::caps::{CapRooms, StricterYear, YearRoom};

use super::outlook;
use crate::{
    book::company_year::SectionSum,
    pages::{
        figures::{self, Figure},
        pictures::room::RoomBar,
    },
    store::settings::DateOrder,
};

/// One section against its caps.
pub struct SectionRow {
    pub client: String,
    pub client_id: String,
    pub property: String,
    pub address: String,
    pub name: String,
    /// "less than ", where the cap itself is too much.
    pub than: &'static str,
    pub cap: Option<Figure>,
    pub bar: Option<RoomBar>,
    pub applied: Figure,
    pub planned: Figure,
    pub room: Option<Figure>,
    /// What 365 days leave.
    pub rolling: Option<Figure>,
    pub class: &'static str,
    pub words: String,
    /// Over a cap that counts for every product.
    pub over: bool,
    /// Over the cap on nitrogen with what is planned, and not before.
    pub runs_over: bool,
    /// Nothing is left of a cap that some products alone are held to.
    pub used_up: bool,
    /// The other yearly caps, and what there is to say of them at once.
    pub others: Vec<CapRow>,
    pub others_class: &'static str,
    pub others_words: &'static str,
    /// Caps that count some products alone, so that nothing is held against them here.
    pub not_added_up: Vec<String>,
}

/// A yearly cap other than the tightest on nitrogen.
pub struct CapRow {
    pub nutrient: &'static str,
    pub only_for: Option<String>,
    /// "less than ", where the cap itself is too much.
    pub than: &'static str,
    pub cap: Figure,
    pub applied: Figure,
    pub room: Figure,
    pub rolling: Figure,
    pub class: &'static str,
    pub words: &'static str,
}

impl CapRow {
    fn of(rooms: &CapRooms) -> Self {
        let limit = &rooms.cap.limit_lb_per_1000_sqft;
        let (class, words) = match () {
            () if outlook::is_over(rooms) => ("stop", "■ over this cap"),
            () if outlook::is_used_up(rooms) => ("care", "▲ nothing is left"),
            () => ("go", "✓ within"),
        };
        let room = |year: &YearRoom| figures::rate_at_most(&year.remaining_lb_per_1000_sqft);
        Self {
            nutrient: rooms.cap.nutrient.label(),
            only_for: rooms.cap.only_for.clone(),
            than: outlook::than(&rooms.cap),
            cap: figures::limit(limit),
            applied: figures::rate_against(&rooms.calendar_year.applied_lb_per_1000_sqft, Some(limit)),
            room: room(&rooms.calendar_year),
            rolling: room(&rooms.rolling_year),
            class,
            words,
        }
    }
}

impl SectionRow {
    pub fn of(sum: &SectionSum, dates: DateOrder) -> Self {
        let nitrogen = sum.of_nitrogen();
        let over = nitrogen.is_some_and(CapRooms::is_over);
        let (class, words) = match (over, sum.runs_past_on, &sum.cap) {
            (true, ..) => ("stop", "■ over its cap".to_owned()),
            (_, Some(day), _) => ("care", format!("▲ over it with the visit of {}", dates.day(day))),
            (_, None, Some(_)) => ("go", "✓ within".to_owned()),
            (_, None, None) => ("care", "▲ no cap is known".to_owned()),
        };
        let less = nitrogen.is_some_and(|rooms| rooms.stricter == Some(StricterYear::RollingYear));
        let words = if less { format!("{words}; less in 365 days") } else { words };
        let cap = sum.cap.as_ref().map(|cap| &cap.limit_lb_per_1000_sqft);
        let others = sum.caps.iter().filter(|rooms| Some(&rooms.cap) != sum.cap.as_ref());
        let others: Vec<CapRow> = others.map(CapRow::of).collect();
        let is_any = |class: &str| others.iter().any(|cap| cap.class == class);
        let (others_class, others_words) = match (is_any("stop"), is_any("care")) {
            (true, _) => ("stop", "■ over"),
            (false, true) => ("care", "▲ nothing is left for some products"),
            (false, false) => ("go", "✓ within"),
        };
        let not_added_up =
            sum.not_added_up.iter().map(|cap| format!("{}, {}", cap.nutrient.label(), cap.place)).collect();
        Self {
            client: sum.client_name.clone(),
            client_id: sum.client_id.to_string(),
            property: sum.property_id.to_string(),
            address: sum.address.clone(),
            name: sum.section_name.clone(),
            than: sum.cap.as_ref().map_or("", |cap| outlook::than(cap)),
            cap: cap.map(figures::limit),
            bar: RoomBar::of(sum.nitrogen_lb_per_1000_sqft, sum.planned_nitrogen_lb_per_1000_sqft, cap),
            applied: figures::rate_against(&sum.nitrogen_lb_per_1000_sqft, cap),
            planned: figures::rate_against(
                &sum.planned_nitrogen_lb_per_1000_sqft,
                sum.remaining_nitrogen_lb_per_1000_sqft.as_ref(),
            ),
            room: sum.remaining_nitrogen_lb_per_1000_sqft.as_ref().map(figures::rate_at_most),
            rolling: nitrogen.map(|rooms| figures::rate_at_most(&rooms.rolling_year.remaining_lb_per_1000_sqft)),
            class,
            words,
            others,
            others_class,
            others_words,
            not_added_up,
            over: over || outlook::others_over(sum).next().is_some(),
            runs_over: !over && sum.runs_past_on.is_some(),
            used_up: sum.caps.iter().any(outlook::is_used_up),
        }
    }

    /// Whether the owner has to look at it.
    pub fn needs_attention(&self) -> bool {
        self.over || self.runs_over || self.used_up || self.cap.is_none()
    }

    /// Whether a name, an address or a section holds what was typed, in small letters.
    pub fn holds(&self, typed: &str) -> bool {
        [&self.client, &self.address, &self.name].into_iter().any(|text| text.to_lowercase().contains(typed))
    }
}
