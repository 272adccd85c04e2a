//! A scene of known truth, drawn to pixels. Shares no code with `vision`.
