// Written by tools/parameters.py from the settings of 'reference rig'.
// Do not edit: change rig.toml and write it again.

linkage_base_pivot_mm = 900;
linkage_cradle_pivot_mm = 450;
linkage_level_angle_deg = 20;
linkage_home_angle_deg = 0;
linkage_travel_deg = 46;
linkage_soft_limit_deg = 45;

screw_lead_mm = 4;
screw_full_steps_per_turn = 200;
screw_microsteps = 2;
screw_max_pulse_rate_hz = 2000;
screw_min_pulse_gap_us = 250;

beam_position_mm = 590;
beam_u_position_mm = 0.5;
beam_second_spacing_mm = 50;
beam_u_second_spacing_mm = 0.2;
beam_height_mm = 7;
beam_response_ms = 0.5;
beam_u_response_ms = 0.3;

board_length_mm = 1219;
board_width_mm = 610;
board_hole_start_mm = 914;
board_hole_end_mm = 1067;
board_catch_mm = 300;

bag_length_mm = 152;
bag_width_mm = 152;
bag_u_length_mm = 4;
bag_gap_mm = 8;
bag_u_gap_mm = 1;
bag_slump_mm = 1.5;
bag_u_slump_mm = 0.9;

blade_fitted = 0;
blade_travel_mm = 400;
blade_lead_mm = 40;
blade_full_steps_per_turn = 200;
blade_microsteps = 4;
blade_speed_mm_s = 20;
blade_acceleration_mm_s2 = 100;
blade_ramp_jerk_mm_s3 = 1000;
blade_thickness_mm = 3;
blade_u_thickness_mm = 0.1;
blade_overshoot_mm = 6;
blade_springback_mm = 1;
blade_u_springback_mm = 0.6;
blade_bag_tolerance_mm = 22;
blade_tries = 3;
blade_settle_deg = 0;

mechanics_moving_mass_kg = 15;
mechanics_centre_of_mass_mm = 610;
mechanics_hinge_height_mm = 600;
mechanics_pivot_drop_mm = 40;
mechanics_lowered_gap_mm = 120;
mechanics_screw_diameter_mm = 16;
mechanics_flank_angle_deg = 15;
mechanics_least_thread_friction = 0.15;
mechanics_most_thread_friction = 0.23;
mechanics_bearing_friction = 0.02;
mechanics_bearing_diameter_mm = 20;
mechanics_screw_modulus_gpa = 205;
mechanics_screw_yield_mpa = 250;
mechanics_screw_start_mm = 45;
mechanics_screw_length_mm = 415;
mechanics_nut_length_mm = 40;
mechanics_tube_length_mm = 420;
mechanics_tube_plug_mm = 25;
mechanics_motor_overhang_mm = 190;
mechanics_motor_width_mm = 57;
mechanics_holding_n_m = 3;
mechanics_pull_out_250_n_m = 2.7;
mechanics_pull_out_500_n_m = 2.3;
mechanics_pull_out_1000_n_m = 1.6;
mechanics_pull_out_2000_n_m = 0.8;
mechanics_motor_current_a = 4.2;
mechanics_motor_resistance_ohm = 1.1;
mechanics_supply_v = 24;
mechanics_supply_a = 6.5;
mechanics_driver_efficiency = 0.85;
mechanics_frame_stiffness_n_m2 = 14000;
mechanics_hinge_play_mm = 0.05;
mechanics_hinge_spacing_mm = 500;
mechanics_screw_play_mm = 0.1;
mechanics_sensor_offset_mm = 150;
