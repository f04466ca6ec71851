//! What a verdict of an inspection may be compared by.

use tapline_protocols::doubt::trend::Like;
use tapline_protocols::fact::Judged;
use tapline_protocols::inspection;
use tapline_protocols::plan::Expanded;
use tapline_protocols::register::Asset;

use super::Book;

impl Book {
    /// Everything in which two values must agree.
    pub(super) fn like(&self, step: &str, judged: &Judged, asset: &Asset) -> Like {
        let names = judged.from.iter().filter_map(|seq| self.values.get(seq));
        let steps: Vec<&Expanded> = names.filter_map(|name| self.steps.get(name)).collect();
        let planned = self.plan.as_ref().and_then(|plan| plan.steps.iter().find(|s| s.id == step));
        let row = judged.limit.as_ref().and_then(|limit| self.limits.as_ref()?.row(&limit.id));
        inspection::like(judged, planned, &steps, row, asset)
    }
}
