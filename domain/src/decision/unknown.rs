//! What is not known of the law itself: sets that nobody gathered, and the holes of those that somebody did.

use super::{
    answer::{MESSAGE_LENGTH, NUMBER_LENGTH},
    run::{Origin, Run},
};
use crate::{
    law::{CoverageGap, Mark},
    rules::Answer,
    text::truncate_chars,
};

const LOOK_UP_LABELS: &str = "Look up what the law of the place says of labels.";

/// Where an answer about missing law comes from; it cannot stop anything.
const fn not_gathered(rule: &str) -> Origin<'_> {
    Origin {
        rule,
        section: None,
        citation: "No text gathered",
        href: None,
        mark: Mark::Own,
        since: None,
        may_refuse: false,
    }
}

impl Run<'_> {
    /// Says which law nobody has gathered. Nothing gathered is not nothing in force.
    pub(super) fn unknown_law(&mut self) {
        let missing = std::mem::take(&mut self.stack.missing);
        let gathered = self.stack.sets.iter().any(|stacked| stacked.set.about.code != crate::law::COMPANY);
        let say = |run: &mut Self, rule: &str, message: String| {
            let hint = "Ask the office which law holds here, and to gather it.";
            let answer = Answer::law_unknown(message, hint);
            run.bounds.forbid(None, rule, &answer.message);
            let origin = Origin {
                rule,
                section: None,
                citation: "No rule set gathered",
                href: None,
                mark: Mark::Own,
                since: None,
                may_refuse: true,
            };
            run.push(&origin, answer);
        };
        for code in &missing {
            let rule = truncate_chars(&format!("law.{code}"), NUMBER_LENGTH);
            say(
                self,
                &rule,
                truncate_chars(
                    &format!("This server has no file of the rule set `{code}`, so its law is not known."),
                    MESSAGE_LENGTH,
                ),
            );
        }
        if !gathered && missing.is_empty() {
            say(self, "law", "No rule set is named for this property, so its law is not known.".to_owned());
        }
        self.stack.missing = missing;
    }

    /// Says what is known to be missing, so that it is looked up before the work begins.
    pub(super) fn coverage_gaps(&mut self) {
        let mut said: Vec<(String, String, String)> = Vec::new();
        for (set, words) in self.stack.undecided() {
            said.push((format!("law.{}.local", set.about.code), words.to_owned(), set.about.name.clone()));
        }
        said.extend(self.gaps_that(|hole| hole.asks_care));
        for (rule, words, place) in said {
            let answer = Answer::law_care(words, format!("Look up the law of {place} before you start."));
            self.push(&not_gathered(&rule), answer);
        }
    }

    /// The id, the words and the place of the holes of a kind that are about the product.
    fn gaps_that(&self, wanted: impl Fn(&CoverageGap) -> bool) -> Vec<(String, String, String)> {
        let facts = self.case.facts;
        let mut said = Vec::new();
        for set in self.stack.sets.iter().filter(|stacked| stacked.force.may_run()).map(|stacked| stacked.set) {
            let holes = set.about.holes.iter();
            for hole in holes.filter(|hole| wanted(hole) && hole.when.covers(&facts.label, facts.purpose)) {
                if facts.site.kind.is_some_and(|kind| hole.outside_kinds.contains(&kind)) {
                    continue;
                }
                let row = hole.rows.first().map_or("", String::as_str);
                said.push((format!("law.{}.{row}", set.about.code), hole.words.clone(), set.about.name.clone()));
            }
        }
        said
    }

    /// Says of the check of a label what is missing: sets that nobody gathered, and what is known to be missing about labels.
    pub(super) fn unknown_labels(&mut self) {
        for code in std::mem::take(&mut self.stack.missing) {
            let message =
                format!("This server has no file of the rule set `{code}`, so what it says of labels is not known.");
            let answer = Answer::law_unknown(truncate_chars(&message, MESSAGE_LENGTH), LOOK_UP_LABELS);
            self.push(&not_gathered(&truncate_chars(&format!("law.{code}"), NUMBER_LENGTH)), answer);
        }
        for (rule, words, place) in self.gaps_that(|hole| hole.about_labels) {
            let hint = format!("Look up what the law of {place} says of labels.");
            self.push(&not_gathered(&rule), Answer::law_care(words, hint));
        }
    }

    /// Says that nothing was asked about a label, which is no answer that it may be sold and used. `read` is whether the places
    /// have rules on labels at all.
    pub(super) fn no_rule_on_labels(&mut self, read: bool) {
        let message = if read {
            "No rule on labels that was read judges this product on that day."
        } else {
            "No rule on labels of this place was read."
        };
        self.push(&not_gathered("law.labels"), Answer::law_care(message.to_owned(), LOOK_UP_LABELS.to_owned()));
    }
}
