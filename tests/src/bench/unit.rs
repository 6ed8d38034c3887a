//! One unit on the bench: its store under the schedule, and the rows that are written meanwhile.

use millpond::model::bank::{Bank, Branch, Wear};
use millpond::model::drain::Drain;
use millpond::model::load::Load;
use millpond::node::Action;
use millpond::simulate::plant::{End, Plant};
use millpond::units::*;
use rand::RngExt;
use rand_pcg::Pcg64;

use super::Fault;
use super::plan::{FEW_REPORTS, NIGHTS, Plan};

/// The light changes so often in a day, by up to half.
const CLOUDS: f64 = 40.0;
/// Rows come this part of their step too early or too late.
const JITTER: f64 = 0.2;
/// Watchdogs fire so often in a log without a fault.
const RESETS: u32 = 2;

/// What is true of a log, in the units of the fit's parameters.
#[derive(Clone, Copy, Debug, Default)]
pub struct Truth {
    /// At the working voltage (F).
    pub capacitance_f: f64,
    /// As one branch (ohm).
    pub resistance_ohm: f64,
    /// At the terminal and the working voltage (A).
    pub sleep_current_a: f64,
    /// Of all capacitors at their rated voltage (A).
    pub leakage_a: f64,
    /// At the working voltage (J).
    pub measure_energy_j: f64,
    /// At the working voltage (J).
    pub transmit_energy_j: f64,
    /// That reached storage, on average (W).
    pub income_w: f64,
}

/// A unit while the log is written.
pub(super) struct Unit<'a> {
    pub(super) plan: &'a Plan,
    pub(super) plant: Plant,
    pub(super) random: Pcg64,
    asleep: Drain,
    pub(super) now_s: f64,
    next_row_s: f64,
    next_cloud_s: f64,
    is_lit: bool,
    pub(super) count: u32,
    waiting: u32,
    pub(super) is_off: bool,
    pub(super) lowest_v: f64,
    pub(super) stuck_mv: Option<f64>,
    pub(super) whole_s: f64,
    pub(super) text: String,
    pub(super) truth: Truth,
}

impl<'a> Unit<'a> {
    pub(super) fn run(plan: &'a Plan) -> Self {
        let described = &plan.described;
        let nominal = Bank::of_node(&plan.node, Wear::NONE);
        let factors = &plan.factors;
        let bank = Bank {
            branches: nominal
                .branches
                .iter()
                .map(|branch| Branch {
                    capacitance: branch.capacitance * factors.capacitance,
                    slope: branch.slope * factors.capacitance,
                    resistance: branch.resistance * factors.resistance,
                })
                .collect(),
            // Balance resistors and the sensing divider are what they say.
            leakage: {
                let mut bare = plan.node.storage.clone();
                bare.iter_mut().for_each(|part| part.balance_resistor = None);
                let own = Bank::of(&bare, Wear::NONE).leakage;
                nominal.leakage - own + own * factors.leakage
            },
        };
        let asleep =
            Load::node_asleep(&plan.node, plan.node.sleep_current, seconds(1.0), fraction(0.0)).drain;
        let mut unit = Self {
            plant: Plant::new(&bank, &plan.node.harvest, volts(plan.top_v)),
            random: plan.random.clone(),
            asleep: scaled(&asleep, factors.sleep),
            now_s: 0.0,
            next_row_s: 0.0,
            next_cloud_s: 0.0,
            is_lit: false,
            count: 0,
            waiting: 0,
            is_off: false,
            lowest_v: f64::INFINITY,
            stuck_mv: None,
            whole_s: f64::from(NIGHTS) * (plan.night_s + plan.day_s),
            text: if plan.has_events {
                "time_s,storage_mv,count,event\n".to_owned()
            } else {
                "time_s,storage_mv,count\n".to_owned()
            },
            truth: Truth {
                capacitance_f: described.capacitance_f(described.working_v) * factors.capacitance,
                resistance_ohm: described.resistance_ohm * factors.resistance,
                sleep_current_a: described.sleep_a(described.working_v) * factors.sleep,
                leakage_a: described.leakage_a * factors.leakage,
                measure_energy_j: described.measure.energy_j * factors.measure,
                transmit_energy_j: described.transmit.energy_j * factors.transmit,
                income_w: 0.0,
            },
            plan,
        };
        match plan.fault {
            _ if plan.advised.is_some() => {
                let (report_s, sleep_s) = plan.advised.unwrap_or_default();
                unit.work(report_s, plan.period_s);
                unit.work(sleep_s, sleep_s / FEW_REPORTS);
            }
            Some(Fault::RestartLoop) => unit.restart(6),
            Some(Fault::ReadingScaled | Fault::ReadingOffset) => {
                for _ in 0..3 {
                    unit.fill();
                    unit.work(plan.night_s, plan.period_s);
                    unit.empty();
                }
            }
            Some(Fault::OvervoltagePlateau) => {
                for _ in 0..3 {
                    unit.fill();
                    unit.work(plan.night_s, plan.period_s);
                }
            }
            Some(Fault::LeakageSettling) => unit.work(1.5 * plan.night_s, plan.period_s * 3.0),
            Some(Fault::ClockDrift) => unit.days(plan.period_s * 0.94),
            _ => {
                let off = 3e-4 * unit.random.random_range(-1.0..1.0);
                unit.days(plan.period_s * (1.0 + off));
            }
        }
        let ledger = unit.plant.ledger();
        unit.truth.income_w = (ledger.harvested_j - ledger.spilled_j) / unit.now_s;
        unit
    }

    /// Nights and days, with watchdogs.
    fn days(&mut self, period_s: f64) {
        let resets: Vec<f64> = (0..RESETS)
            .map(|_| self.random.random_range(0.1..0.9) * self.whole_s)
            .collect();
        let sample_s = period_s / f64::from(self.plan.node.policy.batch);
        let mut next_sample_s = sample_s;
        for half in 0..2 * NIGHTS {
            self.light(half % 2 == 1);
            let until_s = self.now_s
                + if half % 2 == 1 {
                    self.plan.day_s
                } else {
                    self.plan.night_s
                };
            while self.now_s < until_s {
                let end_s = next_sample_s.min(until_s);
                for reset_s in &resets {
                    if *reset_s > self.now_s && *reset_s <= end_s {
                        self.sleep_until(*reset_s);
                        self.boot();
                    }
                }
                self.sleep_until(end_s);
                if end_s == next_sample_s {
                    self.sample();
                    next_sample_s += sample_s;
                }
            }
        }
    }

    /// Asleep and reporting in the dark.
    fn work(&mut self, duration_s: f64, period_s: f64) {
        self.light(false);
        let until_s = self.now_s + duration_s;
        let sample_s = period_s / f64::from(self.plan.node.policy.batch);
        while self.now_s < until_s {
            let next_s = self.now_s + sample_s;
            self.sleep_until(next_s.min(until_s));
            if next_s <= until_s {
                self.sample();
            }
        }
    }

    /// Charges until the converter stops, and for as long again.
    fn fill(&mut self) {
        self.light(true);
        let began_s = self.now_s;
        let step_s = self.plan.row_s * 10.0;
        while self.plant.inner_v() < self.plan.described.overvoltage_v * 0.999
            && self.now_s < began_s + 50.0 * self.whole_s
        {
            self.sleep_until(self.now_s + step_s);
        }
        self.sleep_until(self.now_s + 60.0 * self.plan.row_s + self.plan.night_s);
    }

    /// Draws the store down until the node is cut off, and starts it again in the light.
    fn empty(&mut self) {
        let cut_v = self.cut_v();
        let heavy = Drain {
            power: watts(0.0),
            current: amperes(self.plan.described.capacitance_f(cut_v) * self.plan.top_v / self.plan.night_s),
        };
        self.pass(&heavy, 10.0 * self.whole_s, cut_v);
        self.row(&self.asleep.clone(), "cut");
        self.is_off = true;
        self.light(true);
        let connect_v = cut_v + 0.3;
        while self.plant.inner_v() < connect_v {
            let nothing = scaled(&self.asleep.clone(), 0.0);
            self.pass(&nothing, self.plan.row_s, f64::NEG_INFINITY);
        }
        self.boot();
    }

    fn cut_v(&self) -> f64 {
        let described = &self.plan.described;
        described
            .gate
            .map_or(described.floor_v, |(_, cut_v, _)| cut_v.max(described.floor_v))
    }

    /// Starts, sends once at most, is cut off, and waits for light, again and again.
    fn restart(&mut self, lives: u32) {
        self.work(self.plan.night_s, self.plan.period_s);
        for life in 0..lives {
            self.boot();
            self.sleep_until(self.now_s + 5.0 * self.plan.row_s);
            if life % 2 == 0 {
                self.report();
            }
            self.sleep_until(self.now_s + 5.0 * self.plan.row_s);
            self.row(&self.asleep.clone(), "cut");
            self.count = 0;
            self.light(true);
            self.sleep_until(self.now_s + 30.0 * self.plan.row_s);
            self.light(false);
        }
    }

    fn boot(&mut self) {
        self.is_off = false;
        self.count = 0;
        self.waiting = 0;
        self.row(&self.asleep.clone(), "start");
        let boot = self.plan.node.boot.clone();
        self.act(&boot, 1.0);
    }

    /// A sample, and the report when there are enough.
    fn sample(&mut self) {
        // Firmware waits while storage is low.
        if self.plant.inner_v() < self.plan.low_v {
            return;
        }
        let measure = self.plan.node.measure.clone();
        self.row(&self.asleep.clone(), "measure");
        self.act(&measure, self.plan.factors.measure);
        self.waiting += 1;
        if self.waiting >= self.plan.node.policy.batch {
            self.waiting = 0;
            self.report();
        }
    }

    fn report(&mut self) {
        let mut transmit = self.plan.node.transmit.clone();
        transmit.attempts = 1;
        self.row(&self.asleep.clone(), "transmit");
        self.act(&transmit, self.plan.factors.transmit);
        let is_lost = self.plan.fault == Some(Fault::ReportsLost) && self.random.random_ratio(1, 4);
        self.count += u32::from(!is_lost);
    }

    fn act(&mut self, action: &Action, factor: f64) {
        let load = Load::of(
            &self.plan.node.supply.regulator,
            action,
            self.plan.node.radio.as_ref(),
            fraction(0.0),
        );
        for stretch in &load.stretches {
            self.pass(
                &scaled(&stretch.drain, factor),
                stretch.duration.get::<second>(),
                f64::NEG_INFINITY,
            );
        }
    }

    fn sleep_until(&mut self, until_s: f64) {
        let duration_s = (until_s - self.now_s).max(0.0);
        if self.plan.fault != Some(Fault::LeakageSettling) {
            let asleep = self.asleep;
            self.pass(&asleep, duration_s, f64::NEG_INFINITY);
            return;
        }
        // What the fresh cell still takes up goes with time as an exponential.
        let described = &self.plan.described;
        let fall_a =
            described.sleep_rate_v_per_s(described.working_v) * described.capacitance_f(described.working_v);
        while self.now_s < until_s {
            let more_a = 3.0 * fall_a * (-self.now_s / (0.4 * self.plan.night_s)).exp();
            let drain = Drain {
                current: self.asleep.current + amperes(more_a),
                ..self.asleep
            };
            self.pass(
                &drain,
                (until_s - self.now_s).min(self.plan.row_s * 5.0),
                f64::NEG_INFINITY,
            );
        }
    }

    fn light(&mut self, is_lit: bool) {
        self.is_lit = is_lit;
        self.next_cloud_s = self.now_s;
        self.cloud();
    }

    /// The light until the next cloud; the day ends when the store is nearly full, unless that is the point.
    fn cloud(&mut self) {
        let fills = matches!(
            self.plan.fault,
            Some(Fault::OvervoltagePlateau | Fault::ReadingScaled | Fault::ReadingOffset)
        );
        self.is_lit &= fills || self.plant.inner_v() < self.plan.top_v;
        let power_w = if self.is_lit {
            self.plan.light_w * self.random.random_range(0.5..1.5)
        } else {
            0.0
        };
        self.plant.offer(power_w);
        self.next_cloud_s = if self.is_lit {
            self.now_s + self.plan.day_s / CLOUDS
        } else {
            f64::INFINITY
        };
    }

    /// Lets time pass over rows and clouds, at most down to `lower_v`.
    fn pass(&mut self, drain: &Drain, duration_s: f64, lower_v: f64) {
        let until_s = self.now_s + duration_s;
        while self.now_s < until_s {
            let stop_s = until_s.min(self.next_row_s).min(self.next_cloud_s);
            let (end, taken_s) =
                self.plant
                    .advance(drain, (stop_s - self.now_s).max(0.0), lower_v, f64::INFINITY);
            if end == End::Below && lower_v > f64::NEG_INFINITY {
                self.now_s += taken_s;
                return;
            }
            // A store that cannot carry the drain stands still: time goes on.
            self.now_s = stop_s;
            self.lowest_v = self.lowest_v.min(self.plant.inner_v());
            if stop_s >= self.next_row_s {
                self.row(drain, "");
                self.next_row_s =
                    self.now_s + self.plan.row_s * (1.0 + JITTER * self.random.random_range(-1.0..1.0));
            }
            if stop_s >= self.next_cloud_s {
                self.cloud();
            }
        }
    }
}

fn scaled(drain: &Drain, factor: f64) -> Drain {
    Drain {
        power: drain.power * factor,
        current: drain.current * factor,
    }
}
