//! Reads a topic from its Markdown: a title, a summary, and sections that have an address each. Markup within the text is shown as
//! text: what a page of this server says is decided by its templates alone.

use pulldown_cmark::{CowStr, Event, HeadingLevel, Options, Parser, Tag, TagEnd, html};

/// One page of help.
#[derive(Debug)]
pub struct Topic {
    pub slug: &'static str,
    pub title: String,
    /// The first paragraph without its markup, for the index.
    pub summary: String,
    /// What stands before the first section.
    pub lead: String,
    pub sections: Vec<Section>,
}

/// What stands under one heading.
#[derive(Debug)]
pub struct Section {
    pub id: String,
    pub heading: String,
    pub html: String,
    /// The same without markup, a block in each line, to be searched.
    pub text: String,
}

const TABLE: &str = "<div class=\"wide\" tabindex=\"0\" role=\"group\" aria-label=\"Table\">";

fn events(source: &str) -> impl Iterator<Item = Event<'_>> {
    Parser::new_ext(source, Options::ENABLE_TABLES)
}

/// Markup that a text brings of its own; there is to be none.
#[cfg(test)]
pub fn raw_html(source: &str) -> Vec<String> {
    let raw = |event| match event {
        Event::Html(text) | Event::InlineHtml(text) => Some(text.to_string()),
        _ => None,
    };
    events(source).filter_map(raw).collect()
}

/// Reads a topic. What stands under no heading of the second level is its lead.
pub fn read(slug: &'static str, source: &str) -> Topic {
    let mut topic =
        Topic { slug, title: String::new(), summary: String::new(), lead: String::new(), sections: Vec::new() };
    let mut held = Vec::new();
    let mut heading: Option<Vec<Event<'_>>> = None;
    let mut id = String::new();
    for event in events(source) {
        match event {
            Event::Start(Tag::Heading { level: HeadingLevel::H1 | HeadingLevel::H2, .. }) => {
                close(&mut topic, &mut held, &id);
                heading = Some(Vec::new());
            }
            Event::End(TagEnd::Heading(level @ (HeadingLevel::H1 | HeadingLevel::H2))) => {
                let words = plain(&heading.take().unwrap_or_default());
                if level == HeadingLevel::H1 {
                    topic.title = words;
                    continue;
                }
                id = slug_of(&words);
                let (html, text) = (String::new(), String::new());
                topic.sections.push(Section { id: id.clone(), heading: words, html, text });
            }
            event => heading.as_mut().unwrap_or(&mut held).push(event),
        }
    }
    close(&mut topic, &mut held, &id);
    topic
}

/// Puts what was gathered under the heading that it belongs to.
fn close(topic: &mut Topic, held: &mut Vec<Event<'_>>, id: &str) {
    let events = std::mem::take(held);
    let text = plain(&events);
    let html = rendered(events, id);
    match topic.sections.last_mut() {
        Some(section) => (section.html, section.text) = (html, text),
        None if !html.is_empty() => {
            text.lines().next().unwrap_or_default().clone_into(&mut topic.summary);
            topic.lead = html;
        }
        None => {}
    }
}

/// The text of some events, each block in a line.
fn plain(events: &[Event<'_>]) -> String {
    let mut text = String::new();
    for event in events {
        match event {
            Event::Text(words) | Event::Code(words) => text.push_str(words),
            Event::SoftBreak | Event::HardBreak | Event::End(TagEnd::TableCell) => text.push(' '),
            Event::End(
                TagEnd::Paragraph
                | TagEnd::Heading(_)
                | TagEnd::Item
                | TagEnd::CodeBlock
                | TagEnd::TableRow
                | TagEnd::TableHead,
            ) => text.push('\n'),
            _ => {}
        }
    }
    text.lines().map(str::trim).filter(|line| !line.is_empty()).collect::<Vec<_>>().join("\n")
}

fn rendered(events: Vec<Event<'_>>, section: &str) -> String {
    let ids = small_headings(&events, section);
    let mut ids = ids.into_iter();
    let shown = events.into_iter().flat_map(|event| match event {
        Event::Start(Tag::Table(alignment)) => vec![Event::Html(TABLE.into()), Event::Start(Tag::Table(alignment))],
        Event::End(TagEnd::Table) => vec![Event::End(TagEnd::Table), Event::Html("</div>\n".into())],
        Event::Start(Tag::Heading { level, classes, attrs, .. }) => {
            vec![Event::Start(Tag::Heading { level, id: ids.next().map(CowStr::from), classes, attrs })]
        }
        Event::Start(Tag::Link { link_type, dest_url, title, id }) => {
            vec![Event::Start(Tag::Link { link_type, dest_url: address(dest_url), title, id })]
        }
        Event::Html(text) | Event::InlineHtml(text) => vec![Event::Text(text)],
        other => vec![other],
    });
    let mut page = String::new();
    html::push_html(&mut page, shown);
    page
}

/// Addresses of the headings within a section, which may say the same as those of another.
fn small_headings(events: &[Event<'_>], section: &str) -> Vec<String> {
    let mut found = Vec::new();
    let mut begun = None;
    for (at, event) in events.iter().enumerate() {
        match event {
            Event::Start(Tag::Heading { .. }) => begun = Some(at),
            Event::End(TagEnd::Heading(_)) => {
                let words = plain(&events[begun.take().unwrap_or(at)..at]);
                found.push(format!("{section}-{}", slug_of(&words)));
            }
            _ => {}
        }
    }
    found
}

/// The files name each other, so that they can be read where they lie; on the server they are pages.
fn address(written: CowStr<'_>) -> CowStr<'_> {
    let (file, section) = written.split_once('#').map_or((&*written, None), |(file, id)| (file, Some(id)));
    let Some(slug) = file.strip_suffix(".md").filter(|slug| !slug.contains('/')) else { return written };
    section.map_or_else(|| format!("/help/{slug}"), |id| format!("/help/{slug}#{id}")).into()
}

/// A heading as the last part of an address, as the places where such files are read make it too.
fn slug_of(words: &str) -> String {
    let kept = words.chars().filter(|c| c.is_alphanumeric() || matches!(c, ' ' | '-'));
    kept.map(|c| if c == ' ' { '-' } else { c.to_ascii_lowercase() }).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    const SAMPLE: &str = "# Title\n\nFirst *words*.\n\nMore.\n\n## The *first* part\n\nSee [that](other.md#a-part) and \
                          [today](/office).\n\n### Small\n\n| a | b |\n|---|---|\n| 1 | 2 |\n\n## Second\n\n- one\n- `two`\n\n<b>x</b>\n";

    #[test]
    fn a_topic_is_read_into_sections_with_addresses() {
        let topic = read("sample", SAMPLE);
        assert_eq!((topic.title.as_str(), topic.summary.as_str()), ("Title", "First words."));
        assert_eq!(topic.lead, "<p>First <em>words</em>.</p>\n<p>More.</p>\n");
        let ids: Vec<&str> = topic.sections.iter().map(|section| section.id.as_str()).collect();
        assert_eq!(ids, ["the-first-part", "second"]);
        let first = &topic.sections[0];
        assert!(first.html.contains("<a href=\"/help/other#a-part\">that</a>"), "{}", first.html);
        assert!(first.html.contains("<a href=\"/office\">today</a>"), "{}", first.html);
        assert!(first.html.contains("<h3 id=\"the-first-part-small\">Small</h3>"), "{}", first.html);
        assert!(
            first.html.contains(TABLE)
                && first.html.contains("</table></div>") | first.html.contains("</table>\n</div>")
        );
        assert_eq!(first.text, "See that and today.\nSmall\na b\n1 2");
    }

    #[test]
    fn markup_in_a_text_is_shown_and_not_taken() {
        let topic = read("sample", SAMPLE);
        assert!(!topic.sections[1].html.contains("<b>"), "{}", topic.sections[1].html);
        assert!(topic.sections[1].html.contains("&lt;b&gt;"), "{}", topic.sections[1].html);
        assert_eq!(topic.sections[1].text, "one\ntwo\nx");
    }
}
