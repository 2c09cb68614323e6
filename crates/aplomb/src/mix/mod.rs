//! From thrust and torque to motor commands, with an order for saturation.
