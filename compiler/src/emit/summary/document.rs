//! A document for people as plain values: sections of facts, tables, lists and text. Markdown and
//! HTML are rendered from the same one, so that they say the same.

use serde::Serialize;

/// The whole text.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Document {
    /// The title.
    pub title: String,
    /// What it is about, one sentence or two.
    pub lead: String,
    /// In reading order.
    pub sections: Vec<Section>,
}

/// A heading and what stands under it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Section {
    /// The heading.
    pub heading: String,
    /// Where it begins on paper.
    pub begins: Begins,
    /// What stands under it.
    pub blocks: Vec<Block>,
}

/// Where a section begins on paper.
#[derive(Copy, Clone, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Begins {
    /// Below the one before.
    Below,
    /// On a page of its own.
    Page,
}

/// A piece of a section.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(tag = "is", rename_all = "snake_case")]
pub enum Block {
    /// A paragraph.
    Text {
        /// Its text.
        text: String,
    },
    /// A heading within the section.
    Heading {
        /// Its text.
        text: String,
    },
    /// What is named left and said right.
    Facts {
        /// Name and fact.
        rows: Vec<(String, String)>,
    },
    /// A table with a head.
    Table(Table),
    /// Points, one a line.
    Points {
        /// The points.
        items: Vec<String>,
    },
    /// A drawing; where none can be shown, its caption.
    Drawing {
        /// The drawing as SVG.
        svg: String,
        /// What it shows.
        caption: String,
    },
    /// The maps of the fields.
    Maps,
    /// Lines to sign on.
    Signature {
        /// What each line is for.
        lines: Vec<String>,
    },
}

/// A table with a head.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Table {
    /// Names of the columns.
    pub head: Vec<String>,
    /// For each column, whether its cells are text or figures.
    pub columns: Vec<Column>,
    /// Cells, row by row.
    pub rows: Vec<Vec<String>>,
}

/// How a column's cells are set.
#[derive(Copy, Clone, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Column {
    /// Words, set left.
    Words,
    /// Figures, set right.
    Figures,
}

impl Section {
    /// A section.
    pub fn new(heading: impl Into<String>, blocks: Vec<Block>) -> Self {
        Self { heading: heading.into(), begins: Begins::Below, blocks }
    }
    /// The section at the top of a page, to be handed out alone.
    #[must_use]
    pub fn on_a_new_page(self) -> Self {
        Self { begins: Begins::Page, ..self }
    }
}

impl Block {
    /// A paragraph.
    pub fn text(text: impl Into<String>) -> Self {
        Self::Text { text: text.into() }
    }
    /// Named facts.
    pub fn facts<const N: usize>(rows: [(&str, String); N]) -> Self {
        Self::Facts { rows: rows.map(|(name, fact)| (name.to_owned(), fact)).into() }
    }
    /// Points.
    pub fn points<'a>(items: impl IntoIterator<Item = &'a str>) -> Self {
        Self::Points { items: items.into_iter().map(str::to_owned).collect() }
    }
    /// A table whose first `words` columns hold words and whose others hold figures.
    pub fn table(head: &[&str], words: usize, rows: Vec<Vec<String>>) -> Self {
        let column = |i| if i < words { Column::Words } else { Column::Figures };
        Self::Table(Table {
            head: head.iter().map(|&name| name.to_owned()).collect(),
            columns: (0..head.len()).map(column).collect(),
            rows,
        })
    }
}
