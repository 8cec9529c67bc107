"""Two makers, one formulary: preparing git, exchanging, settling what both changed, and handing a formula on."""
