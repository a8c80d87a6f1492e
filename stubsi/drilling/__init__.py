"""Planning of depth drilling: the fabricator's rules, windows, drill groups, effects, questions and re-routes.

``plan(board, rules)`` finds the fewest drill groups that bring every net to its criterion, and proves that there are no
fewer. ``notebooks/from_board_file_to_drilling_plan.ipynb`` walks through one.

**What can be asked of a plan**::

    print(plan)                     the drill schedule; what is refused, missed or left undrilled, and why
    plan.summary()                  counts, and what proves that no plan is better
    plan.explain("U1.A7")           why a hole is drilled, refused or left undrilled
    plan.consequences()             every net before drilling, after nominal and after worst-case drilling
    plan.refused, plan.missed       stubs that cannot be drilled, and drilled ones that stay too long, with the reason
    plan.effects()                  the clearances, pads and mask openings that the wider drills need
    plan.near_holes()               holes that a drill comes too near to
    plan.questions()                what to ask the fabricator and the designer: every unknown input
    plan.group_trade()              what one drill group more or fewer is worth
    plan.reroutes()                 which nets hold a drill group open, and where they could move
    plan.shallower_changes("CLK")   the smallest change with which a net is drilled less deep
    plan.hole_model("U1.A7", "worst")  one hole after drilling, as a two-port with its figures
    plan.matches(board, rules)      whether the plan still fits, and what has changed since it was made
    plan.to_frame(), plan.to_csv()  the drill groups; plan.holes_frame() and plan.holes_csv() give the holes

**Rules.** The fabricator's rules are an object, each value with its source. The tip's angle and distance, the least
depth and plated length, the clearances of copper and of other holes and the tolerance of the edge may be given as None:
then they are unknown. The plan holds over a stated range of an unknown rule, and ``Plan.questions`` lists it with the
number of verdicts that hang on it. A tip distance given as None with a guaranteed residual is covered by that
guarantee. Bores are of air, or filled with a resin of the permittivity ``fill_dk``, for which more error is declared.
Rules, costs and criteria can stand in a file, too: ``read_rules``, ``read_costs`` and
``read_criteria`` read their part of it, ``write_rules`` writes it; ``shared/demo_rules.toml`` is one. A board file may
name the criteria of the rules file that the command gets, and those given as ``read_board(path, criteria=...)``.

**Model.** Solving the end positions of the demo board takes some seconds; ``model="uniform"`` takes a tenth of a
second.

**Nets that no drilling mends.** A net with a stub that no drill brings to its budget needs no group. It is drilled all
the same as deep as the rules allow, where that helps, with the groups that other nets need and both legs of a pair
together; ``Plan.missed`` says by how much it misses, in micrometres and in GHz. ``missed_nets="leave"`` leaves such
nets undrilled, and ``"stub by stub"`` drills every stub that can keep its budget. ``Plan.reroutes`` proposes other
layers for them, and for the nets that hold a group open; a proposal is never applied by itself.

**Which end of the depth.** A drilled stub keeps its budget at worst tolerance; ``budget_at="nominal"`` asks for the
nominal depth only. The plan, its schedule and its digest state which. What must not be cut is kept at worst tolerance
either way. Of a figure that is a range, because an input is unknown, the unfavourable end decides.

**Wider clearances.** The wide drills need wider clearances in every hole of their padstacks. ``Plan.effects`` lists
what the wider drill does to each padstack, with the clearance to change it to. Nets that stay undrilled are judged
again with these, once, and ``Plan.judged_wider`` names those that are drilled only because of them. Where the board has
no room for the clearances, ``Plan.no_room`` says why, and all is judged as drawn. A stub whose drill would touch the
barrel of another hole is refused; ``Plan.near_holes`` lists the holes that a drill comes nearer to than the rule
``hole_clearance`` permits. ``copper_near_drills(plan, "board.xml")`` lists the copper of an IPC-2581 file that is too
near to a drill on any layer it passes, each with the move that clears it.

**What one group fewer is worth.** ``goal="fewest groups"`` and ``goal="largest margin", most_groups=6`` stand beside
the default ``"least cost"``. ``Plan.group_trade`` sets groups against margin, each row with its proof;
``plot_group_trade`` draws it. The margin over limit that users see is one number everywhere: the judged figure of the
whole net over its limit at worst tolerance, with its kept stubs and the clearances of the drills, as in
``Plan.consequences``. Which plan has the largest one is found and proven before the groups are known: of the drilled
stubs, each by itself, with the clearances as drawn.

**What follows.** ``Plan.consequences`` ranks every net before drilling, after nominal and after worst-case drilling.
``Plan.hole_model(hole, "worst")`` gives one hole as a two-port with its figures; the other states are ``"drawn"`` and
``"nominal"``. ``Plan.matches(board, rules)`` says whether the plan still fits, and what changed since.
``undrilled_changes`` finds the smallest single change of each kind (exit layer, antipad, non-functional pads, return
vias added, or moved nearer) that lets a net pass without drilling, each with a board to go on with.
``Plan.shallower_changes`` finds the smallest one with which a shallower group serves the net, first of all one that the
plan has anyway.
"""
