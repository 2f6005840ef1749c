//! Physical quantities as types, so that a length is never added to an angle and no bare `f64`
//! crosses a stage.
//!
//! Each holds one number in the SI unit named by its constructor. Constructors and getters name
//! the unit; there is deliberately no `From<f64>`.

use serde::{Deserialize, Serialize};

macro_rules! quantity {
    ($(#[$doc:meta])* $name:ident { $($(#[$udoc:meta])* $from:ident / $to:ident = $scale:expr;)+ }) => {
        $(#[$doc])*
        #[derive(Copy, Clone, Debug, Default, PartialEq, PartialOrd, Serialize, Deserialize)]
        #[serde(transparent)]
        pub struct $name(f64);

        impl $name {
            /// Nothing of this quantity.
            pub const ZERO: Self = Self(0.0);
            $(
                $(#[$udoc])*
                pub const fn $from(value: f64) -> Self { Self(value * $scale) }
                #[doc = concat!("The value in the unit of [`", stringify!($name), "::", stringify!($from), "`].")]
                pub const fn $to(self) -> f64 { self.0 / $scale }
            )+
            /// The smaller of two.
            #[must_use]
            pub const fn min(self, other: Self) -> Self { if other.0 < self.0 { other } else { self } }
            /// The larger of two.
            #[must_use]
            pub const fn max(self, other: Self) -> Self { if other.0 > self.0 { other } else { self } }
            /// The magnitude without its sign.
            #[must_use]
            pub const fn abs(self) -> Self { Self(self.0.abs()) }
        }

        impl std::ops::Add for $name { type Output = Self; fn add(self, o: Self) -> Self { Self(self.0 + o.0) } }
        impl std::ops::Sub for $name { type Output = Self; fn sub(self, o: Self) -> Self { Self(self.0 - o.0) } }
        impl std::ops::Neg for $name { type Output = Self; fn neg(self) -> Self { Self(-self.0) } }
        impl std::ops::Mul<f64> for $name { type Output = Self; fn mul(self, k: f64) -> Self { Self(self.0 * k) } }
        impl std::ops::Div<f64> for $name { type Output = Self; fn div(self, k: f64) -> Self { Self(self.0 / k) } }
        impl std::ops::Div for $name { type Output = f64; fn div(self, o: Self) -> f64 { self.0 / o.0 } }
        impl std::ops::AddAssign for $name { fn add_assign(&mut self, o: Self) { self.0 += o.0; } }
        impl std::iter::Sum for $name { fn sum<I: Iterator<Item = Self>>(it: I) -> Self { Self(it.map(|q| q.0).sum()) } }
    };
}

quantity! {
    /// A distance. Stored in metres.
    Length {
        /// From metres.
        m / to_m = 1.0;
        /// From centimetres.
        cm / to_cm = 0.01;
        /// From millimetres.
        mm / to_mm = 0.001;
    }
}
quantity! {
    /// A temperature. Stored in degrees Celsius.
    Temperature {
        /// From degrees Celsius.
        celsius / to_celsius = 1.0;
    }
}
quantity! {
    /// Warmth over time. Stored in degrees Celsius times days.
    ThermalTime {
        /// From degree-days.
        degree_days / to_degree_days = 1.0;
    }
}
quantity! {
    /// A speed. Stored in metres per second.
    Speed {
        /// From metres per second.
        m_per_s / to_m_per_s = 1.0;
        /// From kilometres per hour.
        km_per_h / to_km_per_h = 1.0 / 3.6;
    }
}
quantity! {
    /// How fast something turns. Stored in radians per second.
    AngularSpeed {
        /// From radians per second.
        rad_per_s / to_rad_per_s = 1.0;
        /// From degrees per second.
        deg_per_s / to_deg_per_s = std::f64::consts::PI / 180.0;
    }
}
quantity! {
    /// A length of time. Stored in seconds.
    Time {
        /// From milliseconds.
        ms / to_ms = 0.001;
        /// From seconds.
        s / to_s = 1.0;
        /// From minutes.
        min_ / to_min = 60.0;
        /// From hours.
        h / to_h = 3600.0;
    }
}
quantity! {
    /// An angle between two directions. Stored in radians.
    Angle {
        /// From radians.
        rad / to_rad = 1.0;
        /// From degrees.
        deg / to_deg = std::f64::consts::PI / 180.0;
    }
}
quantity! {
    /// A mass. Stored in kilograms.
    Mass {
        /// From kilograms.
        kg / to_kg = 1.0;
        /// From grams.
        g / to_g = 0.001;
    }
}
quantity! {
    /// An area. Stored in square metres.
    Area {
        /// From square metres.
        m2 / to_m2 = 1.0;
        /// From hectares.
        ha / to_ha = 10_000.0;
    }
}

impl std::ops::Mul for Length {
    type Output = Area;
    fn mul(self, o: Self) -> Area {
        Area::m2(self.to_m() * o.to_m())
    }
}
impl std::ops::Div<Speed> for Length {
    type Output = Time;
    fn div(self, v: Speed) -> Time {
        Time::s(self.to_m() / v.to_m_per_s())
    }
}

/// A compass heading: degrees clockwise from north, kept in `[0, 360)`.
#[derive(Copy, Clone, Debug, PartialEq, PartialOrd, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Heading(f64);

impl Heading {
    /// From degrees clockwise from north; any turn count.
    pub fn degrees(value: f64) -> Self {
        let wrapped = value.rem_euclid(360.0);
        Self(if wrapped >= 360.0 { 0.0 } else { wrapped })
    }
    /// Degrees clockwise from north, in `[0, 360)`.
    pub const fn to_degrees(self) -> f64 {
        self.0
    }
}

/// A place on the Earth in the survey's reference frame: degrees. Never used for plane geometry;
/// ground metres are [`geo`](https://docs.rs/geo) coordinates and the two do not mix.
#[derive(Copy, Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct GeoPoint {
    /// Degrees east, in `[-180, 180]`.
    pub longitude: f64,
    /// Degrees north, in `[-90, 90]`.
    pub latitude: f64,
}
