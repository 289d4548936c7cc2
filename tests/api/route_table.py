"""
Every route with what it is for: who may (by their first letter) and how far it reaches.

Written apart from the program, so that a changed action shows here. C clerk, P planner, R reader, A administrator;
"anybody" needs no session. Reach: "base" speaks of one base; "rows" of single records; "fleet" of the whole fleet;
"own" of nobody's records.
"""

ALL = "CPRA"
TABLE = {
    ("GET", "/"): (ALL, "base"),
    ("GET", "/changeouts"): (ALL, "base"),
    ("GET", "/changeouts/figures.json"): (ALL, "base"),
    ("GET", "/spares"): (ALL, "base"),
    ("GET", "/spares/figures.json"): (ALL, "base"),
    ("GET", "/brakes"): (ALL, "rows"),
    ("GET", "/brake"): (ALL, "rows"),
    ("GET", "/brake/figures.json"): (ALL, "rows"),
    ("GET", "/cost"): ("PRA", "fleet"),
    ("GET", "/against-facts"): (ALL, "fleet"),
    ("GET", "/against-facts/figures.json"): (ALL, "fleet"),
    ("GET", "/api/v1/score"): (ALL, "fleet"),
    ("GET", "/claims"): ("PRA", "fleet"),
    ("GET", "/claims/figures.json"): ("PRA", "fleet"),
    ("GET", "/api/v1/claims"): ("PRA", "fleet"),
    ("GET", "/cost/figures.json"): ("PRA", "fleet"),
    ("GET", "/retrofit"): ("PRA", "fleet"),
    ("GET", "/retrofit/figures.json"): ("PRA", "fleet"),
    ("GET", "/api/v1/refit"): (ALL, "fleet"),
    ("GET", "/api/v1/changeouts"): (ALL, "base"),
    ("GET", "/api/v1/spares"): (ALL, "base"),
    ("GET", "/api/v1/cost"): ("PRA", "fleet"),
    ("GET", "/api/v1/briefing"): ("PRA", "fleet"),
    ("GET", "/api/v1/verify"): ("PRA", "fleet"),
    ("GET", "/api/v1/openapi.json"): (ALL, "own"),
    ("GET", "/sign-in"): ("anybody", "own"),
    ("POST", "/sign-in"): ("anybody", "own"),
    ("GET", "/enter/{secret}"): ("anybody", "own"),
    ("POST", "/enter/{secret}"): ("anybody", "own"),
    ("POST", "/sign-out"): (ALL, "own"),
    ("POST", "/sign-in/provider"): ("anybody", "own"),
    ("GET", "/sign-in/provider/back"): ("anybody", "own"),
    ("GET", "/account"): (ALL, "own"),
    ("POST", "/account/password"): (ALL, "own"),
    ("POST", "/account/authenticator"): (ALL, "own"),
    ("POST", "/account/authenticator/confirm"): (ALL, "own"),
    ("POST", "/account/authenticator/remove"): (ALL, "own"),
    ("POST", "/account/tokens"): (ALL, "own"),
    ("POST", "/account/tokens/end"): (ALL, "own"),
    ("POST", "/account/sessions/end"): (ALL, "own"),
    ("GET", "/people"): ("A", "fleet"),
    ("POST", "/people"): ("A", "fleet"),
    ("POST", "/people/link"): ("A", "fleet"),
    ("POST", "/people/end"): ("A", "fleet"),
    ("POST", "/people/sign-out"): ("A", "fleet"),
    **{
        ("POST", f"/api/v1/{kind}"): ("CA", "rows")
        for kind in (
            "aircraft-changes installations removals reshims deactivations counter-changes landings pin-readings "
            "events exclusions shop-visits stock orders flying-plan"
        ).split()
    },
    **{
        ("POST", f"/api/v1/{kind}"): ("CA", "fleet")
        for kind in "bases aircraft-types brake-types aircraft effectivity brakes".split()
    },
    ("POST", "/api/v1/wear-limits"): ("PA", "fleet"),
    ("POST", "/api/v1/assumptions"): ("PA", "fleet"),
    ("POST", "/api/v1/rulings"): ("CPA", "rows"),
    ("GET", "/api/v1/records/{number}"): (ALL, "rows"),
    ("PATCH", "/api/v1/records/{number}"): ("CA", "rows"),
    ("DELETE", "/api/v1/records/{number}"): ("CA", "rows"),
    ("GET", "/static/plotly.min.js"): ("anybody", "own"),
    ("GET", "/health"): ("anybody", "own"),
    ("GET", "/ready"): ("anybody", "own"),
}
