//! `page`: the address of the bench page. It holds the secret of this run of the station behind
//! `#`, where a browser keeps it to itself.

use super::args::Common;
use super::client::Client;
use super::{Exit, Trouble, output};

/// Prints the address.
pub(super) fn page(client: &Client, common: &Common) -> Result<Exit, Trouble> {
    let answer = client.get("/v1/page").map_err(|trouble| match trouble {
        Trouble::Refused(mut problem) if problem.code == "not_found" => {
            "start it with `tapline serve --page`, or set [page] in its configuration"
                .clone_into(&mut problem.next);
            Trouble::Refused(problem)
        }
        other => other,
    })?;
    let address = answer["address"].as_str().unwrap_or_default();
    output::data(&if common.json { answer.to_string() } else { address.to_owned() })?;
    Ok(Exit::Done)
}
