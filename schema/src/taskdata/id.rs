//! Identifiers: the element's tag and a number, with a hyphen between when a machine made it.

use super::value::Attribute;

/// The number of an identifier, by who gave it.
#[derive(Copy, Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
enum Number {
    Office(u32),
    Machine(u32),
}

impl Number {
    fn after(self, tag: &str) -> String {
        match self {
            Self::Office(number) => format!("{tag}{number}"),
            Self::Machine(number) => format!("{tag}-{number}"),
        }
    }

    fn read(tag: &str, text: &str) -> Result<Self, String> {
        let wrong = || format!("`{text}` is not {tag} with a number");
        let rest = text.strip_prefix(tag).ok_or_else(wrong)?;
        let (digits, machine) = match rest.strip_prefix('-') {
            Some(digits) => (digits, true),
            None => (rest, false),
        };
        if digits.is_empty() || !digits.bytes().all(|b| b.is_ascii_digit()) {
            return Err(wrong());
        }
        let number = digits.parse().map_err(|_| wrong())?;
        Ok(if machine { Self::Machine(number) } else { Self::Office(number) })
    }
}

/// A reference to an object of any kind, as the link list uses it.
#[derive(Copy, Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct ObjectRef {
    tag: &'static str,
    number: Number,
}

impl Attribute for ObjectRef {
    fn to_text(&self) -> String {
        self.number.after(self.tag)
    }
    fn from_text(text: &str) -> Result<Self, String> {
        let tag = TAGS
            .iter()
            .find(|tag| text.starts_with(**tag))
            .ok_or_else(|| format!("`{text}` names no object"))?;
        Ok(Self { tag, number: Number::read(tag, text)? })
    }
}

id! {
    /// Of a base station.
    BaseStationId = "BSN";
    /// Of a coded comment.
    CodedCommentId = "CCT";
    /// Of a group of coded comments.
    CodedCommentGroupId = "CCG";
    /// Of a value that a coded comment can take.
    CodedCommentListValueId = "CCL";
    /// Of a colour legend.
    ColourLegendId = "CLD";
    /// Of a crop.
    CropTypeId = "CTP";
    /// Of a variety.
    CropVarietyId = "CVT";
    /// Of a cultural practice.
    CulturalPracticeId = "CPC";
    /// Of a customer.
    CustomerId = "CTR";
    /// Of a device.
    DeviceId = "DVC";
    /// Of a device element.
    DeviceElementId = "DET";
    /// Of a farm.
    FarmId = "FRM";
    /// Of a guidance group.
    GuidanceGroupId = "GGP";
    /// Of a guidance pattern.
    GuidancePatternId = "GPN";
    /// Of a line.
    LineStringId = "LSG";
    /// Of a group of links.
    LinkGroupId = "LGP";
    /// Of an operation technique.
    OperationTechniqueId = "OTQ";
    /// Of a partfield.
    PartfieldId = "PFD";
    /// Of a point.
    PointId = "PNT";
    /// Of a polygon.
    PolygonId = "PLN";
    /// Of a product.
    ProductId = "PDT";
    /// Of a group of products.
    ProductGroupId = "PGP";
    /// Of a task.
    TaskId = "TSK";
    /// Of a way to show a value.
    ValuePresentationId = "VPN";
    /// Of a worker.
    WorkerId = "WKR";
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_office_id_has_no_hyphen_and_a_machine_id_has_one() {
        assert_eq!(PartfieldId::office(7).to_text(), "PFD7");
        assert_eq!(PartfieldId::machine(7).to_text(), "PFD-7");
        assert_eq!(PartfieldId::from_text("PFD00012"), Ok(PartfieldId::office(12)));
        assert_eq!(ObjectRef::from_text("GPN-3"), Ok(GuidancePatternId::machine(3).into()));
    }

    #[test]
    fn what_is_no_id_is_told() {
        for text in ["", "PFD", "PFD-", "PFD+1", "FRM1", "PFD99999999999", "PFD1 "] {
            assert!(PartfieldId::from_text(text).is_err(), "{text}");
        }
        assert!(ObjectRef::from_text("XYZ1").is_err());
    }
}
