"""Public life-cycle-cost arithmetic: present value, discounted payback, savings-to-investment, adjusted return."""
