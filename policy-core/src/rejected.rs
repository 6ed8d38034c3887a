//! Why a set of constants is not a policy, or not a plan.

/// The first rule that a set of constants breaks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum Rejected {
    /// `measure_mv + hysteresis_mv` exceeds 65535.
    MeasureTooHigh,
    /// `transmit_mv + hysteresis_mv` exceeds 65535.
    TransmitTooHigh,
    /// `measure_mv` is below `floor_mv`.
    MeasureBelowFloor,
    /// `transmit_mv` is below `floor_mv`.
    TransmitBelowFloor,
    /// `batch` is 0.
    BatchZero,
    /// `batch` exceeds `backlog`.
    BatchAboveBacklog,
    /// `off_time_s` exceeds 65534.
    OffTimeTooLong,
    /// `spacing_s` is below `off_time_s`.
    SpacingBelowOffTime,
    /// `retry_s` is 0.
    RetryZero,
    /// A row of the pace table waits 0 s.
    PaceZero,
    /// The rows of the pace table do not fall strictly in voltage.
    PaceUnsorted,
    /// The last row of the pace table does not start at 0 mV.
    PaceOpenBelow,
    /// A lower row of the pace table waits less than the one above it.
    PaceFasterWhenLower,
    /// A shift of the energy model exceeds 31.
    EnergyShiftTooLarge,
    /// `energy_scale` is 0.
    EnergyScaleZero,
    /// `full_mv` is below `floor_mv`.
    FullBelowFloor,
    /// The energy at `full_mv`, before the last shift, does not fit into 32 bits.
    EnergyOverflow,
    /// `count_shift` exceeds 31.
    CountShiftTooLarge,
    /// `maximum_count * count_scale` does not fit into 32 bits.
    CountOverflow,
    /// `income_shift` exceeds 16.
    IncomeShiftTooLarge,
    /// `unit_shift` of a plan exceeds 16.
    UnitShiftTooLarge,
    /// `full_units` of a plan exceeds 32767.
    PlanTooFull,
    /// `reserve_units` or `target_units` of a plan exceeds its `full_units`.
    PlanAboveFull,
    /// The cost of a sample in a plan, times its longest look ahead, does not fit into 32 bits, or is 0.
    PlanSampleCost,
    /// `growth` of a plan is below 64: a slot that ended full would bring less than it did.
    PlanGrowth,
    /// `fastest_s` of a plan is 0 or exceeds its `slowest_s`.
    PlanFastest,
    /// A plan's energies in one slot exceed 31 bits of microjoules.
    PlanEnergyOverflow,
}

impl Rejected {
    /// Every rule of a policy, in the order in which they are checked.
    pub const ALL: [Self; 20] = [
        Self::EnergyShiftTooLarge,
        Self::EnergyScaleZero,
        Self::FullBelowFloor,
        Self::EnergyOverflow,
        Self::MeasureTooHigh,
        Self::TransmitTooHigh,
        Self::MeasureBelowFloor,
        Self::TransmitBelowFloor,
        Self::BatchZero,
        Self::BatchAboveBacklog,
        Self::OffTimeTooLong,
        Self::SpacingBelowOffTime,
        Self::RetryZero,
        Self::PaceZero,
        Self::PaceUnsorted,
        Self::PaceFasterWhenLower,
        Self::PaceOpenBelow,
        Self::CountShiftTooLarge,
        Self::CountOverflow,
        Self::IncomeShiftTooLarge,
    ];

    /// Every rule of a plan alone, in the order in which they are checked, after those of its energy model.
    pub const OF_PLAN: [Self; 7] = [
        Self::UnitShiftTooLarge,
        Self::PlanTooFull,
        Self::PlanAboveFull,
        Self::PlanSampleCost,
        Self::PlanGrowth,
        Self::PlanFastest,
        Self::PlanEnergyOverflow,
    ];

    /// One sentence for the compiler's error message; the C header uses the same words.
    ///
    /// ```
    /// use millpond_policy::Rejected;
    /// assert_eq!(Rejected::BatchZero.text(), "batch must be at least 1");
    /// ```
    #[must_use]
    pub const fn text(self) -> &'static str {
        match self {
            Self::MeasureTooHigh => "measure_mv + hysteresis_mv must not exceed 65535",
            Self::TransmitTooHigh => "transmit_mv + hysteresis_mv must not exceed 65535",
            Self::MeasureBelowFloor => "measure_mv must not be below floor_mv",
            Self::TransmitBelowFloor => "transmit_mv must not be below floor_mv",
            Self::BatchZero => "batch must be at least 1",
            Self::BatchAboveBacklog => "batch must not exceed backlog",
            Self::OffTimeTooLong => "off_time_s must not exceed 65534",
            Self::SpacingBelowOffTime => "spacing_s must not be below off_time_s",
            Self::RetryZero => "retry_s must be at least 1",
            Self::PaceZero => "each wait of the pace table must be at least 1 s",
            Self::PaceUnsorted => "the pace table must fall strictly in voltage from row to row",
            Self::PaceOpenBelow => "the last row of the pace table must start at 0 mV",
            Self::PaceFasterWhenLower => "the pace table must not wait less at a lower voltage",
            Self::EnergyShiftTooLarge => "the shifts of the energy model must not exceed 31",
            Self::EnergyScaleZero => "energy_scale must be at least 1",
            Self::FullBelowFloor => "full_mv must not be below floor_mv",
            Self::EnergyOverflow => {
                "the stored energy at full_mv must fit into 32 bits before the last shift"
            }
            Self::CountShiftTooLarge => "count_shift must not exceed 31",
            Self::CountOverflow => "maximum_count * count_scale must fit into 32 bits",
            Self::IncomeShiftTooLarge => "income_shift must not exceed 16",
            Self::UnitShiftTooLarge => "unit_shift must not exceed 16",
            Self::PlanTooFull => "full_units must not exceed 32767",
            Self::PlanAboveFull => "reserve_units and target_units must not exceed full_units",
            Self::PlanSampleCost => "sample_unit_s must be between 1 and 89478485",
            Self::PlanGrowth => "growth must be at least 64",
            Self::PlanFastest => "fastest_s must be at least 1 and not exceed slowest_s",
            Self::PlanEnergyOverflow => {
                "the energies of a plan must fit into 31 bits of microjoules in one slot"
            }
        }
    }
}

impl core::fmt::Display for Rejected {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str(self.text())
    }
}

impl core::error::Error for Rejected {}
