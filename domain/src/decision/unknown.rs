//! What is not known of the law itself: sets that nobody gathered, and the holes of those that somebody did.

use super::{
    Mark,
    run::{MESSAGE_LENGTH, NUMBER_LENGTH, Origin, Run},
};
use crate::{law::limited, rules::Answer};

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
            let rule = limited(&format!("law.{code}"), NUMBER_LENGTH);
            say(
                self,
                &rule,
                limited(&format!("No rule set `{code}` was gathered, so its law is not known."), MESSAGE_LENGTH),
            );
        }
        if !gathered && missing.is_empty() {
            say(self, "law", "No rule set is named for this property, so its law is not known.".to_owned());
        }
        self.stack.missing = missing;
    }

    /// Says what is known to be missing, so that it is looked up before the work begins.
    pub(super) fn holes(&mut self) {
        let mut said: Vec<(String, String, String)> = Vec::new();
        for (set, words) in self.stack.undecided() {
            said.push((format!("law.{}.local", set.about.code), words.to_owned(), set.about.name.clone()));
        }
        let facts = self.case.facts;
        let running = self.stack.sets.iter().filter(|stacked| stacked.force.may_run());
        for set in running.map(|stacked| stacked.set) {
            for hole in
                set.about.holes.iter().filter(|hole| hole.asks_care && hole.when.covers(&facts.label, facts.purpose))
            {
                let row = hole.rows.first().map_or("", String::as_str);
                said.push((format!("law.{}.{row}", set.about.code), hole.words.clone(), set.about.name.clone()));
            }
        }
        for (rule, words, place) in said {
            let origin = Origin {
                rule: &rule,
                section: None,
                citation: "No text gathered",
                href: None,
                mark: Mark::Own,
                since: None,
                may_refuse: false,
            };
            self.push(&origin, Answer::law_care(words, format!("Look up the law of {place} before you start.")));
        }
    }
}
