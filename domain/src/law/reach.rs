//! Whether a rule reaches the ground in question: several texts leave some kinds of ground out, or are about some only.

use super::{
    about::Outside,
    mark::Mark,
    model::{Rule, RuleSet},
};
use crate::{
    application::Audience,
    facts::{Facts, HeldCredential, SiteFacts, Supervision},
    land::PropertyKind,
    time::Day,
};

/// How far a rule reaches.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Reach<'s> {
    Binds,
    /// It is about other kinds of ground.
    Elsewhere,
    /// A text leaves this ground out.
    Outside(&'s Outside),
    /// A text leaves this ground out on a condition that no fact shows, or is only remembered.
    Doubtful(&'s Outside),
    /// The kind of ground is not known, and the rule depends on it. It binds, since what is not known never clears; but a rule
    /// about other ground than most can only warn.
    KindUnknown {
        warns: bool,
    },
}

impl RuleSet {
    /// How far one of its rules reaches.
    pub(crate) fn reach(&self, rule: &Rule, facts: &Facts) -> Reach<'_> {
        let over: &[HeldCredential] = match &facts.supervision {
            Supervision::By(held) => held,
            Supervision::Unsaid | Supervision::Nobody => &[],
        };
        let holds = |code: &str| facts.credentials.iter().chain(over).any(|held| held.is(code, facts.on));
        self.reach_on(rule, &facts.site, facts.on, holds)
    }

    pub(crate) fn reach_on(&self, rule: &Rule, site: &SiteFacts, on: Day, holds: impl Fn(&str) -> bool) -> Reach<'_> {
        let named = |outside: &&Outside| outside.rules.is_empty() || outside.rules.contains(&rule.id);
        let mut lifting = self.about.outside.iter().filter(named);
        let Some(kind) = site.kind else {
            let only = !rule.only_kinds.is_empty();
            return if only || lifting.next().is_some() { Reach::KindUnknown { warns: only } } else { Reach::Binds };
        };
        if !rule.only_kinds.is_empty() && !rule.only_kinds.contains(&kind) {
            return Reach::Elsewhere;
        }
        let shown = |outside: &&Outside| {
            outside.kinds.contains(&kind)
                && outside.from <= on
                && outside.credential.as_deref().is_none_or(&holds)
                && (!outside.with_plan || site.plan_on.is_some_and(|made| made <= on))
        };
        let found = lifting.filter(shown).min_by_key(|outside| outside.is_doubtful());
        found.map_or(Reach::Binds, |outside| {
            if outside.is_doubtful() { Reach::Doubtful(outside) } else { Reach::Outside(outside) }
        })
    }

    /// As whom the set binds somebody on this ground: public employees in their work may be bound like those for hire.
    pub(crate) fn audience(&self, audience: Audience, kind: Option<PropertyKind>) -> Audience {
        let public = kind == Some(PropertyKind::PublicGround) && audience == Audience::OwnGround;
        if public && self.about.public_work_is_for_hire { Audience::Professional } else { audience }
    }
}

impl Outside {
    /// Whether what the text asks is not shown by any fact, or the text itself is only remembered.
    fn is_doubtful(&self) -> bool {
        self.condition.is_some() || self.mark == Mark::Memory
    }
}
