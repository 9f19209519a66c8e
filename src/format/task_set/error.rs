//! Why a set of task data cannot be taken.

/// Why a set of task data cannot be taken.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum TaskSetError {
    /// The main file is damaged.
    #[error("TASKDATA.XML cannot be read: {reason}")]
    Unreadable {
        /// What is wrong with it.
        reason: String,
    },
    /// It is not of the office, or of another program's office.
    #[error("TASKDATA.XML was made by {maker:?} (origin {origin:?}), not by haulm in the office")]
    Origin {
        /// Who says to have made it.
        maker: String,
        /// Its origin: 1 is the office, 2 the machine.
        origin: String,
    },
    /// An element that haulm does not write.
    #[error("TASKDATA.XML holds the element {element}, which haulm does not write")]
    Element {
        /// Its name.
        element: String,
    },
    /// An element with an id has none, or the id of another.
    #[error("an element {element} of TASKDATA.XML has no id of its own")]
    Id {
        /// Its name.
        element: String,
    },
    /// A reference to nothing.
    #[error("an element {element} of TASKDATA.XML names {target:?}, and there is none")]
    Dangling {
        /// Who names it.
        element: String,
        /// What is named.
        target: String,
    },
    /// Elements that name one another in a circle, or are nested without end.
    #[error("elements of TASKDATA.XML name one another in a circle")]
    Circle,
    /// A grid's numbers or its file are wrong.
    #[error("the grid of {task}: {reason}")]
    Grid {
        /// The task's id.
        task: String,
        /// What is wrong.
        reason: String,
    },
    /// Sets of different versions.
    #[error("task data of version {first} and of version {other} do not go into one file")]
    Versions {
        /// Version of the first.
        first: String,
        /// Another.
        other: String,
    },
    /// There is no task.
    #[error("TASKDATA.XML holds no task")]
    NoTask,
    /// The file could not be put together.
    #[error("TASKDATA.XML could not be put together: {source}")]
    Xml {
        /// What failed.
        #[from]
        source: std::io::Error,
    },
}
