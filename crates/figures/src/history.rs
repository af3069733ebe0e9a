//! History of a published figure, and post-mortems of dead specimens.

/// State of one entry of a figure's history.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Status {
    /// The figure that stands.
    Current,
    /// Replaced by the next entry.
    Superseded {
        /// Why.
        why: String,
    },
    /// Taken back without a replacement.
    Retracted {
        /// Why.
        why: String,
    },
}

/// One entry.
#[derive(Clone, Debug, PartialEq)]
pub struct Entry {
    /// Value, SI unit.
    pub value: f64,
    /// Expanded uncertainty (k = 2), SI unit; `None` unknown.
    pub expanded: Option<f64>,
    /// Day of publication (any day count).
    pub day: i64,
    /// Who published it.
    pub by: String,
    /// Sessions it rests on.
    pub sessions: Vec<String>,
    /// Where it stands.
    pub status: Status,
}

/// Why an entry was not taken.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum HistoryError {
    /// Superseding or retracting without saying why.
    #[error("say why the figure changes")]
    NoReason,
    /// Nothing stands that could be superseded or retracted.
    #[error("no figure stands")]
    NothingStands,
    /// A figure stands already; supersede it instead.
    #[error("a figure stands already; supersede it")]
    StandsAlready,
    /// An entry older than the one before it.
    #[error("day {got} is before the last entry, day {last}")]
    Order {
        /// Day of the last entry.
        last: i64,
        /// Day of this one.
        got: i64,
    },
}

/// The history of one figure of one specimen or type. Entries are never removed.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct History {
    entries: Vec<Entry>,
}

impl History {
    /// All entries, oldest first.
    pub fn entries(&self) -> &[Entry] {
        &self.entries
    }

    /// The figure that stands.
    pub fn current(&self) -> Option<&Entry> {
        self.entries.last().filter(|e| e.status == Status::Current)
    }

    /// Publishes a figure where none stands; its status is set to current.
    ///
    /// # Errors
    /// One stands already, or the day is before the last entry's.
    pub fn publish(&mut self, entry: Entry) -> Result<(), HistoryError> {
        if self.current().is_some() {
            return Err(HistoryError::StandsAlready);
        }
        self.push(entry)
    }

    /// Replaces the standing figure.
    ///
    /// # Errors
    /// None stands, no reason, or the day is before the last entry's.
    pub fn supersede(&mut self, why: &str, entry: Entry) -> Result<(), HistoryError> {
        let before = self.entries.clone();
        self.close(Status::Superseded { why: why.trim().to_owned() }, why)?;
        self.push(entry).inspect_err(|_| self.entries = before)
    }

    /// Takes the standing figure back.
    ///
    /// # Errors
    /// None stands, or no reason.
    pub fn retract(&mut self, why: &str) -> Result<(), HistoryError> {
        self.close(Status::Retracted { why: why.trim().to_owned() }, why)
    }

    fn close(&mut self, status: Status, why: &str) -> Result<(), HistoryError> {
        if self.current().is_none() {
            return Err(HistoryError::NothingStands);
        }
        if why.trim().is_empty() {
            return Err(HistoryError::NoReason);
        }
        if let Some(last) = self.entries.last_mut() {
            last.status = status;
        }
        Ok(())
    }

    fn push(&mut self, mut entry: Entry) -> Result<(), HistoryError> {
        if let Some(last) = self.entries.last()
            && entry.day < last.day
        {
            return Err(HistoryError::Order { last: last.day, got: entry.day });
        }
        entry.status = Status::Current;
        self.entries.push(entry);
        Ok(())
    }
}

/// How sure the cause of a death is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Certainty {
    /// Seen or reproduced.
    Established,
    /// Fits everything seen.
    Likely,
    /// A guess.
    Unknown,
}

/// Post-mortem of a dead specimen. Its electrical figures stay empty for ever; its traits stay valid.
#[derive(Clone, Debug, PartialEq)]
pub struct PostMortem {
    /// Specimen.
    pub specimen: String,
    /// Step of the bench protocol at which it died; `None` in the field.
    pub step: Option<crate::protocol::StepId>,
    /// Day (any day count).
    pub day: i64,
    /// Cause.
    pub cause: String,
    /// How sure.
    pub certainty: Certainty,
    /// Cost in money, in the person's currency.
    pub cost: Option<f64>,
    /// Time lost, min.
    pub minutes_lost: Option<f64>,
    /// What to do differently.
    pub lesson: String,
}

#[cfg(test)]
mod tests {
    use super::*;

    fn entry(value: f64, day: i64) -> Entry {
        Entry {
            value,
            expanded: Some(1e-6),
            day,
            by: "tester".to_owned(),
            sessions: vec!["s1".to_owned()],
            status: Status::Current,
        }
    }

    #[test]
    fn nothing_is_ever_removed() {
        let mut h = History::default();
        h.publish(entry(12e-6, 1)).unwrap();
        assert_eq!(h.publish(entry(13e-6, 2)), Err(HistoryError::StandsAlready));
        assert_eq!(h.supersede(" ", entry(13e-6, 2)), Err(HistoryError::NoReason));
        assert!(matches!(h.supersede("later", entry(13e-6, 0)), Err(HistoryError::Order { .. })));
        assert_eq!(h.current().map(|e| e.value), Some(12e-6));
        h.supersede("LED was lit", entry(13e-6, 2)).unwrap();
        h.retract("wrong board").unwrap();
        assert_eq!(h.retract("again"), Err(HistoryError::NothingStands));
        assert_eq!((h.entries().len(), h.current()), (2, None));
        h.publish(entry(14e-6, 3)).unwrap();
        assert_eq!(h.entries().len(), 3);
    }
}
