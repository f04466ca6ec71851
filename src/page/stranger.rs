//! An unknown asset: one question after the other, until a plan follows from the answers.

use maud::{Markup, html};

use super::say;
use crate::station::status::StrangerStatus;
use crate::words::english;

/// What is asked now, in words; `None` where nothing is.
pub(super) fn question(stranger: &StrangerStatus) -> Option<String> {
    let code = format!("describe.{}", stranger.question?);
    let asks = english().find("say", &code)?;
    // Behind the question stands how the command line is answered.
    Some(asks.split_inclusive('?').next().unwrap_or(asks).to_owned())
}

/// A button for each word that answers it, or a field.
pub(super) fn answers(stranger: &StrangerStatus) -> Markup {
    let Some(column) = stranger.question else { return html! {} };
    let name = format!("tell.{column}");
    let closed = !matches!(stranger.choices, [] | ["none"] | ["new"]);
    html! {
        @if !closed {
            form data-act="describe" {
                label { (say("told")) input name=(name) autocomplete="off" required; }
                button.large #primary type="submit" { (say("do_tell")) }
            }
        }
        div.answers {
            @for choice in stranger.choices {
                form data-act="describe" {
                    input type="hidden" name=(name) value=(choice);
                    button type="submit" { (choice.replace('_', " ")) }
                }
            }
        }
    }
}

/// What nobody said of the asset that is inspected: a field for each.
pub(super) fn lacking(columns: &[&str]) -> Markup {
    html! {
        form data-act="describe" {
            fieldset {
                legend { (say("lacks")) }
                @for column in columns {
                    label {
                        (say(&format!("field_{column}")))
                        input name={ "tell." (column) } autocomplete="off" required maxlength="500";
                    }
                }
                button.large type="submit" { (say("do_tell")) }
            }
        }
    }
}

/// What is known of it so far.
pub(super) fn told(stranger: &StrangerStatus) -> Markup {
    html! {
        dl.places {
            @for (column, text) in &stranger.told {
                div { dt { (column.replace('_', " ")) } dd { (text) } }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_lacking_has_a_field_with_words() {
        let html = lacking(&tapline_protocols::register::DOCUMENTED).into_string();
        for column in tapline_protocols::register::DOCUMENTED {
            assert!(html.contains(&format!("name=\"tell.{column}\"")), "{html}");
            assert!(!html.contains(&format!("field_{column}")), "it has words: {html}");
        }
    }

    #[test]
    fn each_question_has_words_and_an_answer() {
        for (column, choices) in crate::station::stranger::QUESTIONS {
            let stranger =
                StrangerStatus { told: Default::default(), question: Some(column), choices };
            let asks = question(&stranger).unwrap();
            assert!(asks.ends_with('?') && !asks.contains('='), "{asks}");
            let html = answers(&stranger).into_string();
            assert!(html.contains(&format!("name=\"tell.{column}\"")), "{html}");
        }
    }
}
