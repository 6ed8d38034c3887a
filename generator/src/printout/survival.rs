//! How long a node lives in the dark, and how soon it is back.

use serde::Serialize;

use crate::findings::Finding;
use crate::income::light::Light;
use crate::node::Node;
use crate::printout;
use crate::printout::table::table;
use crate::survival::{At, Corner, Doing, Recharge, Row, Survival};
use crate::text::{Engineering, lasting};
use crate::units::*;

/// The answers as JSON has them.
#[derive(Serialize)]
pub struct View {
    node: String,
    typical: UnitView,
    worst: UnitView,
    recharge: Option<RechargeView>,
    /// What keeps a unit from getting past its start, if anything.
    findings: Vec<printout::findings::View>,
}

#[derive(Serialize)]
struct UnitView {
    full_v: f64,
    threshold_v: f64,
    floor_v: f64,
    rows: Vec<RowView>,
    halving_sleep_current_a: Option<f64>,
}

#[derive(Serialize)]
struct RowView {
    doing: &'static str,
    period_s: Option<f64>,
    from_full_acting_s: f64,
    from_full_s: Option<f64>,
    from_threshold_acting_s: f64,
    from_threshold_s: Option<f64>,
    light: Option<LightView>,
}

#[derive(Serialize)]
struct RechargeView {
    light: LightView,
    offered_w: f64,
    connected_s: Option<f64>,
    first_report_s: Option<f64>,
    no_first_report: Option<String>,
    full_s: Option<f64>,
}

/// Light in the node's own terms: one of the three.
#[derive(Serialize)]
pub struct LightView {
    #[serde(skip_serializing_if = "Option::is_none")]
    power_w: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    irradiance_w_m2: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    illuminance_lx: Option<f64>,
}

impl View {
    /// The view of both units, and of a typical one in steady light.
    pub fn of(
        node: &Node,
        typical: &Survival,
        worst: &Survival,
        recharge: Option<&Recharge>,
        starting: Option<&Finding>,
    ) -> Self {
        Self {
            node: node.name.clone(),
            typical: unit(typical),
            worst: unit(worst),
            recharge: recharge.map(|recharge| RechargeView {
                light: light(&recharge.light),
                offered_w: recharge.offered.get::<watt>(),
                connected_s: plain(recharge.connected),
                first_report_s: plain(recharge.first_report),
                no_first_report: recharge.obstacle.map(|obstacle| obstacle.to_string()),
                full_s: plain(recharge.full),
            }),
            findings: printout::findings::views(starting.map(std::slice::from_ref).unwrap_or_default()),
        }
    }
}

fn plain(time: Option<Time>) -> Option<f64> {
    time.map(|time| time.get::<second>())
}

fn unit(survival: &Survival) -> UnitView {
    UnitView {
        full_v: survival.full.get::<volt>(),
        threshold_v: survival.threshold.get::<volt>(),
        floor_v: survival.floor.get::<volt>(),
        rows: survival.rows.iter().map(row).collect(),
        halving_sleep_current_a: survival.halving.map(|current| current.get::<ampere>()),
    }
}

fn row(row: &Row) -> RowView {
    RowView {
        doing: row.doing.name(),
        period_s: plain(row.period),
        from_full_acting_s: row.from_full.acting.get::<second>(),
        from_full_s: plain(row.from_full.alive),
        from_threshold_acting_s: row.from_threshold.acting.get::<second>(),
        from_threshold_s: plain(row.from_threshold.alive),
        light: row.light.as_ref().map(light),
    }
}

/// Light as JSON has it.
pub fn light(light: &Light) -> LightView {
    let mut view = LightView {
        power_w: None,
        irradiance_w_m2: None,
        illuminance_lx: None,
    };
    match light {
        Light::Power(power) => view.power_w = Some(power.get::<watt>()),
        Light::Irradiance(irradiance) => {
            view.irradiance_w_m2 = Some(irradiance.get::<watt_per_square_meter>())
        }
        Light::Illuminance(illuminance) => view.illuminance_lx = Some(illuminance.get::<lux>()),
    }
    view
}

/// How long the worst corner lives in the dark from full, for a page that says more.
#[derive(Clone, Copy, Debug, Serialize)]
pub struct Dark {
    asleep_s: Option<f64>,
    reporting_slowest_s: f64,
}

impl Dark {
    /// The figures of the worst corner.
    pub fn of(worst: &Survival) -> Self {
        let from_full = |doing| worst.row(doing).map(|row| row.from_full);
        let reporting = from_full(Doing::Reporting(At::Slowest)).map_or(seconds(0.0), |time| time.acting);
        Self {
            asleep_s: plain(from_full(Doing::Sleeping).and_then(|time| time.alive)),
            reporting_slowest_s: reporting.get::<second>(),
        }
    }

    /// In one line.
    pub fn text(&self) -> String {
        format!(
            "in the dark, full, worst corner: asleep for {}, or reporting at the slowest pace for {} (`millpond survival`)\n",
            lasting(self.asleep_s.map(seconds)),
            Engineering(seconds(self.reporting_slowest_s), "s")
        )
    }
}

/// The answers as tables and sentences.
pub fn text(
    node: &Node,
    typical: &Survival,
    worst: &Survival,
    recharge: Option<&Recharge>,
    starting: Option<&Finding>,
) -> String {
    let mut text = format!("{}\n\n{}\n{}", node.name, dark(typical), dark(worst));
    text.push_str(
        "acting: until the storage no longer allows it, then asleep down to the floor; light: what holds the storage at the transmit \
         threshold meanwhile\n",
    );
    for survival in [typical, worst] {
        text.push_str(&halving(node, survival));
    }
    if let Some(recharge) = recharge {
        text.push('\n');
        text.push_str(&back(recharge));
    }
    if let Some(finding) = starting {
        text.push_str("\nworst corner: it never gets past its start\n");
        text.push_str(&printout::findings::text(std::slice::from_ref(finding)));
    }
    text
}

fn dark(survival: &Survival) -> String {
    let called = match survival.corner {
        Corner::Typical => "typical unit",
        Corner::Worst => "worst corner",
    };
    let from = |at: Voltage| Engineering(at, "V");
    let time = |time: Time| Engineering(time, "s").to_string();
    let rows = survival.rows.iter().map(|row| {
        vec![
            row.doing.name().to_owned(),
            row.period.map_or_else(|| "-".to_owned(), time),
            match row.doing {
                Doing::Sleeping => "-".to_owned(),
                _ => time(row.from_full.acting),
            },
            lasting(row.from_full.alive),
            lasting(row.from_threshold.alive),
            row.light
                .map_or_else(|| "beyond the converter".to_owned(), |light| light.to_string()),
        ]
    });
    format!(
        "{called}: from full at {} or from the transmit threshold at {} down to {}\n{}",
        from(survival.full),
        from(survival.threshold),
        from(survival.floor),
        table(
            &[
                "in the dark",
                "every",
                "acting, from full",
                "from full",
                "from threshold",
                "light"
            ],
            rows
        )
    )
}

fn halving(node: &Node, survival: &Survival) -> String {
    let called = match survival.corner {
        Corner::Typical => "typical unit",
        Corner::Worst => "worst corner",
    };
    match survival.halving {
        Some(current) => format!(
            "{called}: a sleeping current of {} instead of {} would halve the time asleep\n",
            Engineering(current, "A"),
            Engineering(node.sleep_current, "A")
        ),
        None => format!(
            "{called}: no sleeping current that a node has would halve the time asleep: leakage rules it\n"
        ),
    }
}

fn back(recharge: &Recharge) -> String {
    let time = |time: Option<Time>| {
        time.map_or_else(|| "never".to_owned(), |time| Engineering(time, "s").to_string())
    };
    let rows = [
        ("from empty until it is connected", recharge.connected),
        ("from empty to the first report", recharge.first_report),
        ("asleep, from the floor to full", recharge.full),
    ]
    .map(|(name, taken)| vec![name.to_owned(), time(taken)]);
    let head = format!("typical unit in {}", recharge.light);
    let mut text = table(&[&head, "time"], rows);
    if let Some(obstacle) = &recharge.obstacle {
        text.push_str(&format!("no first report: {obstacle}\n"));
    }
    text
}
