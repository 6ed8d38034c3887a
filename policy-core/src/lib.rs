//! Policy.
#![no_std]
