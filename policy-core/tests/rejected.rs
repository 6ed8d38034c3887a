//! The sentences of the rules, and the ends of rules that no other test comes to.

use std::collections::BTreeSet;

use millpond_policy::{Costs, EnergyModel, Plan, PlanParts, Policy, PolicyParts, Rejected};

/// What a node may spend asleep over two slots is checked before it is added to what is stored (s).
const TWO_SLOTS_S: u32 = 7_200;

#[test]
fn every_rule_has_a_sentence_of_its_own() {
    let rules = Rejected::ALL.iter().chain(&Rejected::OF_PLAN);
    let sentences: BTreeSet<String> = rules.map(|rule| rule.to_string()).collect();
    assert_eq!(sentences.len(), Rejected::ALL.len() + Rejected::OF_PLAN.len());
    assert!(sentences.iter().all(|sentence| sentence.contains("must ")));
}

#[test]
fn each_shift_of_the_energy_model_is_bound() {
    let good = *Policy::EXAMPLE.parts();
    for energy in [
        EnergyModel {
            energy_shift_before: 32,
            ..good.energy
        },
        EnergyModel {
            energy_shift_after: 32,
            ..good.energy
        },
    ] {
        let parts = PolicyParts { energy, ..good };
        assert_eq!(Policy::new(parts), Err(Rejected::EnergyShiftTooLarge));
    }
}

/// Asleep alone the sum just fits into 32 bits; with what is stored it does not.
#[test]
fn energies_that_overflow_together_are_rejected() {
    let good = *Plan::EXAMPLE.parts();
    for sleep_uw in [u32::MAX / TWO_SLOTS_S, u32::MAX / TWO_SLOTS_S + 1] {
        let costs = Costs {
            sleep_uw,
            ..good.costs
        };
        let parts = PlanParts { costs, ..good };
        assert_eq!(Plan::new(parts), Err(Rejected::PlanEnergyOverflow));
    }
}
