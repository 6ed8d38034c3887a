//! The targets: machines, and the languages that are compiled for each.

/// Where the stream runs.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Machine {
    /// This machine.
    Host,
    /// An 8-bit AVR with 32 KiB of flash.
    Avr,
    /// ARMv6-M: no hardware division, 16-bit instructions.
    CortexM0,
    /// ARMv7-M.
    CortexM3,
    /// 32-bit RISC-V with multiplication and compressed instructions.
    Riscv32imc,
}

/// What the policy and the stream are written in.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Language {
    /// The generated header.
    C,
    /// `millpond-policy` with the generated module.
    Rust,
}

/// A machine and a language.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Target {
    /// Where.
    pub machine: Machine,
    /// In which language.
    pub language: Language,
}

/// Every target, the reference first.
pub const TARGETS: [Target; 9] = [
    Target::new(Machine::Host, Language::Rust),
    Target::new(Machine::Host, Language::C),
    Target::new(Machine::Avr, Language::C),
    Target::new(Machine::Avr, Language::Rust),
    Target::new(Machine::CortexM0, Language::C),
    Target::new(Machine::CortexM0, Language::Rust),
    Target::new(Machine::CortexM3, Language::C),
    Target::new(Machine::CortexM3, Language::Rust),
    Target::new(Machine::Riscv32imc, Language::Rust),
];

impl Target {
    const fn new(machine: Machine, language: Language) -> Self {
        Self { machine, language }
    }
}

impl Machine {
    /// As in the table.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Host => "host",
            Self::Avr => "avr",
            Self::CortexM0 => "cortex-m0",
            Self::CortexM3 => "cortex-m3",
            Self::Riscv32imc => "riscv32imc",
        }
    }

    /// What a cost counts: the AVR emulator counts cycles, QEMU has instructions only.
    #[must_use]
    pub const fn unit(self) -> Option<&'static str> {
        match self {
            Self::Host => None,
            Self::Avr => Some("cycles"),
            Self::CortexM0 | Self::CortexM3 | Self::Riscv32imc => Some("instructions"),
        }
    }

    /// Rust's name of it.
    pub(crate) const fn triple(self) -> Option<&'static str> {
        match self {
            Self::Host => None,
            Self::Avr => Some("avr-none"),
            Self::CortexM0 => Some("thumbv6m-none-eabi"),
            Self::CortexM3 => Some("thumbv7m-none-eabi"),
            Self::Riscv32imc => Some("riscv32imc-unknown-none-elf"),
        }
    }
}

impl Language {
    /// As in the table.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::C => "C",
            Self::Rust => "Rust",
        }
    }
}

impl std::fmt::Display for Target {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{} {}", self.machine.name(), self.language.name())
    }
}
