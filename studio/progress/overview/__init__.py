"""A teacher's pupils at a glance: who waits, who has gone quiet, whose load is heavy, and what goes
wrong most across the studio. No pupil is set beside another."""
