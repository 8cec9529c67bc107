def test_case_8_total_water(toner):
    water = toner.json("sheet", "toner")["total_water"]
    assert water == {"percent": "91.3512", "low": "91.3512", "high": "91.3512"}
