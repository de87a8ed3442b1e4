//! General statistics; knows nothing of vehicles, logs or files.

pub mod interval;
