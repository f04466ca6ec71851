//! What lies where on a page.

use tapline_paper::canvas::{Mark, Page};

/// All texts of pages, line by line.
pub(crate) fn text(pages: &[Page]) -> String {
    let lines = pages.iter().flat_map(|page| &page.marks).filter_map(|mark| match mark {
        Mark::Text { text, .. } => Some(text.as_str()),
        Mark::Fill { .. } => None,
    });
    lines.collect::<Vec<_>>().join("\n")
}

/// Text from the top of its capitals to below its base line.
struct Box<'p> {
    text: &'p str,
    left: f32,
    right: f32,
    top: f32,
    bottom: f32,
}

fn boxes(page: &Page) -> Vec<Box<'_>> {
    let of = |mark| match mark {
        &Mark::Text { x, y, size, face, ref text, .. } => Some(Box {
            text,
            left: x,
            right: x + face.width(text, size),
            top: y - size * 0.73,
            bottom: y + size * 0.05,
        }),
        Mark::Fill { .. } => None,
    };
    page.marks.iter().filter_map(of).collect()
}

/// Nothing lies on something else or beyond the margin.
pub(crate) fn nothing_overlaps(name: &str, pages: &[Page]) {
    for (number, page) in pages.iter().enumerate() {
        let boxes = boxes(page);
        for (at, one) in boxes.iter().enumerate() {
            let inside = one.left > 38.0
                && one.right < page.width - 38.0
                && one.top > 22.0
                && one.bottom < page.height - 20.0;
            assert!(inside, "{name} page {}: `{}` is beyond the margin", number + 1, one.text);
            for other in &boxes[at + 1..] {
                let apart = one.right <= other.left
                    || other.right <= one.left
                    || one.bottom <= other.top
                    || other.bottom <= one.top;
                assert!(apart, "{name} page {}: `{}` on `{}`", number + 1, one.text, other.text);
            }
        }
    }
}
