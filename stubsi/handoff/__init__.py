"""The hand-off of a plan to the fabricator: the files that it builds from, and what differs in files that come back.

``write_hand_off(plan, folder)`` writes what the fabricator drills from: the schedule of the drill groups, the list of
drilled holes, a drill file of each group, the depth-drill specifications in IPC-2581, and the acceptance plan. The
acceptance plan names for each drill group a coupon, the limits it passes between, and the first notch and 1 dB
frequency that it should show. ``hand_off_check(plan)`` names what a fabricator would ask back for, and
``read_hand_off(folder, plan)`` what the files, as they are now, say other than the plan. Exports carry digests of their
plan and of themselves; ``still_valid`` checks them.
"""
