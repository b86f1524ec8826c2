//! Tests of traylight.
//!
//! In reading order: the program itself, built (`binary`), the pretend box, the pretend panel and the bus it is on, the
//! two modules that make them a real device file (`i2c_device`, `cuse`), other sides that want to do harm (`stranger`, with
//! certificates by `authority`), and the virtual machine lab.

pub mod authority;
pub mod binary;
pub mod boxes;
pub mod cuse;
pub mod i2c_device;
pub mod lab;
pub mod literals;
pub mod pretend_box;
pub mod pretend_bus;
pub mod pretend_controllers;
pub mod pretend_panel;
pub mod pretend_pools;
pub mod pretend_sensors;
pub mod samples;
pub mod scenes;
pub mod standing;
pub mod stranger;
pub mod texts;
pub mod wear;
pub mod year;
