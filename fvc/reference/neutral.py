"""INCI names of what neither gives nor takes a proton in a product, and of what does so without published constants.

Names are judged by the groups in them, from memory of general chemistry; the records of a product may say otherwise.
"""

from __future__ import annotations

import re
from functools import lru_cache
from typing import NamedTuple

from fvc.material import inci_key
from fvc.reference.allergens import LISTS
from fvc.reference.ions import FATTY_ACIDS, HARDLY_DISSOLVES, is_salt
from fvc.reference.lookup import allergen, has_colour_index, is_fixed, known, oil_named
from fvc.reference.oils import OILS


class Pull(NamedTuple):
    """Which way something moves the pH that is not counted. way: -1 down, +1 up, 0 not known.

    per: grams for one mole of protons, as usual for such a thing; pka: as weak an acid or as strong a base as it may be.
    """

    way: int
    per: float
    pka: float


LYE = Pull(1, 40, 14)
ACID = Pull(-1, 70, 2)  # phytic acid has 55 g, glycolic 76, most others more
WEAK_ACID = Pull(-1, 150, 3.4)  # a group or two on a bigger molecule
BASE = Pull(1, 250, 10)
SALT = Pull(1, 300, 8)  # of a weak acid: takes protons up
ADJUSTER = Pull(0, 50, 2)
ALKALINE_GLUCOSIDE = Pull(1, 2500, 10)  # the lye in it: a solution of half at pH 11.5 to 12.5 takes about 0.02 mol of acid per 100 g
ALUMINIUM_SALT = Pull(-1, 50, 3.5)

# Names that tell a group that gives or takes protons; the first that fits, whatever else the name says.
_GROUPS: tuple[tuple[str, Pull | None], ...] = (
    (r"^(gluconolactone)$", Pull(-1, 178, 3.7)),
    (r"^(magnesium (hydroxide|carbonate|oxide)|(calcium|zinc) carbonate|zinc oxide)$", Pull(1, 40, 7)),
    (r"^aluminum (chloride|\w*chlorohydrate|zirconium .*|sulfate)$|\balum$", ALUMINIUM_SALT),
    (r"taurate.*polymer|^polyacrylate crosspolymer-6$|arginate hcl$|^styrene", None),  # salts of strong acids; hardly any acid in them
    (r"^sodium (carbomer|polyacrylate|acrylates)", Pull(1, 94, 6)),
    (r"dimethyl ?amino|dimethyl ?amine\b|^(chitosan|ornithine|polylysine)$", BASE),
    (r"amine oxide$", Pull(1, 220, 6)),
    (r"(^dicetyl|eth-\d+) phosphate$", Pull(-1, 500, 2.5)),
    (r"^carbomer$|acrylates?\b.*(polymer|acrylate)|^acrylates|crotonates|^pvm/ma|^polyacrylic acid$", Pull(-1, 75, 4.5)),
    (r"hyaluronic acid$", Pull(-1, 400, 3)),
    (r"^(alginic|polyglutamic) acid$", Pull(-1, 130, 3.5)),
    (r"^(acetyl (cysteine|tyrosine)|glutathione|sophorolipid|rhamnolipid|benzophenone-4|capryloyl glyc|undecylenoyl glyc)", WEAK_ACID),
    (r"^boric acid$", Pull(-1, 60, 9)),
    (r"^potassium .*phosphate$", Pull(1, 400, 7)),
    (r"\bhcl$|\bpca$|^glucose glutamate$", Pull(-1, 200, 3)),
)
# Salts of strong acids, and gums and clays in the form of salts: they hardly move the pH.
_NEUTRAL_SALT = (
    r"sul(f|ph)|taurate|isethionate|chloride|bromide|iodide|fluoride|nitrate|starch|carboxymethyl|hyaluron|(?<!sodium )silicate"
    r"|casein|hydrolyzed|protein|\bdna\b|glycyrrhizate|gum\b|glucan|polyglutamate|edta"
)
_GLUCOSIDE = r"glucoside$"


def _search(pattern: str, key: str) -> bool:
    return re.search(pattern, key) is not None  # the patterns are compiled on first use, which start-up need not wait for


def pull_of(inci: str, functions: tuple[str, ...] = ()) -> Pull | None:
    """How what is not counted may move the pH, by its name; None for what hardly does, or of which nothing is known."""
    key, substance = inci_key(inci), known(inci)
    known_for = substance.functions if substance else ()
    if key in FATTY_ACIDS:
        return Pull(-1, 200, 7)  # so little dissolves that only alkali makes soap of it
    for pattern, pull in _GROUPS:
        if _search(pattern, key):
            return pull
    if key in HARDLY_DISSOLVES or (
        substance is not None and substance.charge in ("cationic", "non-ionic") and not _search(_GLUCOSIDE, key)
    ):
        return None
    if _search(_GLUCOSIDE, key):
        return ALKALINE_GLUCOSIDE if "surfactant" in (*functions, *known_for) else None
    if is_salt(inci):
        of_strong = _search(_NEUTRAL_SALT, key) or {"thickener", "film former"} & set(known_for)
        return None if of_strong or not re.match(_ALKALI, key) else SALT
    return ACID if names_acid(inci) else None


_ALKALI = r"(mono|di|tri|tetra|penta|)(sodium|potassium|lithium|magnesium|ammonium)\b|(tea|mea|dea|mipa|tipa|dipa)-"
_ACID_WORD = r"\bacid\b"
_DYE = r"(acid|basic|direct|disperse|solvent|hc) (black|blue|brown|green|orange|red|violet|yellow)\b"


def names_acid(inci: str) -> bool:
    """True for the name of an acid; a dye (`Acid Violet 43`) and a fat (`C18-36 Acid Triglyceride`) are none."""
    key = inci_key(inci)
    return _search(_ACID_WORD, key) and not re.match(_DYE, key) and "triglyceride" not in key


_CHARGED = (
    r"\bacid\b|amine\b|amine oxide|(m|alk|eth|at)onium\b|quat|\bhcl$|\bpca$|sul(f|ph)o|sul(f|ph)ate|sulfonic|phosph(?!olipid)"
    r"|glutam|glycin(?!e (soja|max))|sarcos|lactylate|carbox(?!ald)|ampho(?!r)|betaine|alginate|copolymer|crosspolymer|polyacrylate"
    r"|amino|protein|collagen|elastin|keratin|silk|gelatin|peptide|lecithin|citrate(?! |$)|dicitrate|stearate citrate|oleate citrate"
)
# What is drawn from plants, animals and ferments holds acids and salts that no name tells.
_DRAWN = r"\b(extract|juice|water|vinegar|ferment|filtrate|lysate|powder|honey|protein|gum|resin|leaf|flower|fruit|root|seed)$"

_ACYL = (
    "(di|tri|tetra|penta|sesqui|poly)?(iso|hydroxy|methoxy|hydroxyiso)?(laurate|myristate|palmitate|stearate|oleate|olivate|linoleate|behenate"
    "|cocoate|caprylate|caprate|caprylate/caprate|dicaprylate/dicaprate|ethylhexanoate|nonanoate|benzoate|salicylate|lactate|adipate|sebacate"
    "|citrate|carbonate|acetate|butyrate|cinnamate|methoxycinnamate|erucate|ricinoleate|polyricinoleate|neopentanoate|propionate|anthranilate"
    "|nicotinate|undecylenate|heptanoate|heptate|pelargonate|ascorbate|retinoate|gallate|linolenate|glycyrrhetinate|succinate|malate"
    "|octanoate|decanoate|rosinate|brassylate|isobutyrate|montanate|arachidate|polyhydroxystearate)s?"
)
_SILICONE = r"methicon(e|ol)|siloxane|siloxysilicate|silsesquioxane|^polysilicone|silane$|silylate$"
_NEUTRAL = (
    r"\b(oil|butter|cera|wax|beeswax|lanolin|petrolatum|paraffin\w*|squal[ae]ne|tri?glycerides?|glycerides|oleine|unsaponifiables|ozokerite"
    r"|ceresin|jojoba esters|ethyl esters|decyl esters|peg-7 esters|sterols?|phytosterols|cholesterol|tallow)\b|\badeps\b|cera\b"
    r"|(iso)?(alkanes?|paraffin|dodecane|hexadecane|undecane|tridecane)$|poly(iso)?butene|polydecene|^hydrogenated farnesene"
    r"|alcohols?( denat\.)?$|glycol$|diol$|\w+anol$"
    r"|^(peg|ppg)(/ppg)?-|^peg/ppg|^polyglyceryl-|^polysorbate|^poloxamer|^sorbitan |^sucrose |^glycereth|^methyl glu(ceth|cose)"
    r"|^(glyceryl|propylene glycol|butylene glycol|propanediol|pentaerythrityl|neopentyl glycol|glycol|ethylene) \w"
    r"|\w+eth-\d+$|glucoside$|amide (mea|mipa|dea)$|glucamide$|glycosides$"
    rf"|^(c\d+-\d+ alkyl|[\w/.,-]*yl(ene)?( [\w/-]*yl)*) {_ACYL}(/{_ACYL})*$|^coco-caprylate|^tri\w+in$"
    r"|^ceramide|^toco(pher|trien)|^retin|caroten|^(lycopene|lutein|astaxanthin|ubiquin\w+|idebenone|phytonadione|menadione|\w*calciferol)$"
    r"|starch$|cellulose( acetate.*)?$|dextrin$|^nylon|^polyethylene|^polymethyl meth|^polyurethane|ether$"
)
# Sugars, sugar-like humectants, inert powders, gases and UV filters that no group of names holds.
_NEUTRAL_NAMES = frozenset(
    """
    acetone|agar|alpha-arbutin|arbutin|anhydroxylitol|beta-glucan|boron nitride|butane|isobutane|propane|nitrogen|nitrous oxide|cellulose
    |cyclodextrin|hydroxypropyl cyclodextrin|dextran|dihydroxyacetone|erythrulose|dimethyl sulfone|diatomaceous earth|galactose|mannose
    |ribose|xylose|raffinose|glass|gold|colloidal gold|hydrated silica|hydrogenated starch hydrolysate|hydrofluorocarbon 152a
    |hydroxypropyl tetrahydropyrantriol|levan|mica|perlite|pumice|talc|alumina|tin oxide|barium sulfate|bismuth oxychloride
    |synthetic fluorphlogopite|homosalate|octocrylene|benzophenone-3|butyl methoxydibenzoylmethane|ethylhexyl triazone
    |diethylhexyl butamido triazone|bis-ethylhexyloxyphenol methoxyphenyl triazine|diethylamino hydroxybenzoyl hexyl benzoate
    |shea butter ethyl esters|polyacrylamide|sulfur|colloidal sulfur|panthenyl ethyl ether|panthenyl triacetate|pantolactone|galactoarabinan
    |asiaticoside|madecassoside|hydroxytyrosol|hexylresorcinol|phenylethyl resorcinol|guaiazulene|batyl alcohol|disiloxane|glycolipids
    |glycosphingolipids|sphingolipids|acetyl tributyl citrate|tributyl citrate|triacetin|acetyl glucosamine|parfum|aroma|ambrettolide|carvacrol
    |cedrene|cedrol|chamazulene|dihydrocoumarin|dodecanal|ethyl vanillin|farnesene|fenchone|heliotropine|humulene|isopulegol|linalool oxide
    |muscone|nootkatone|ocimene|phellandrene|piperonal|thujone|undecalactone|butylphenyl methylpropional
    |hydroxyisohexyl 3-cyclohexene carboxaldehyde|dextrin palmitate|starch acetate|potato starch modified|hydrogenated ethylhexyl olivate
    |xylitylglucoside caprylate|hydroxypinacolone retinoate|cetearyl sorbitan olivate|isopropyl titanium triisostearate
    |phytosteryl/octyldodecyl lauroyl glutamate|isopropyl lauroyl sarcosinate|dioctyldodecyl lauroyl glutamate|bis-diglyceryl polyacyladipate-2
    """.replace("\n", "")
    .replace("    ", "")
    .split("|")
)
# Rows of the table of substances without constants that are not neutral for all that.
_NOT_NEUTRAL = frozenset(("piroctone olamine", "climbazole", "adenosine"))


# What the rules below say of the substances of the table, written out: of an ordinary plan no pattern need be compiled, which takes
# longer than all else. A test holds this list to the rules.
_KNOWN_NEUTRAL = frozenset(
    """
    aqua|gluconolactone|ascorbyl glucoside|ascorbyl palmitate|edta|glyceryl thioglycolate|arginine|lysine|histidine|niacin|ammonia
    |titanium dioxide|silica|methylparaben|ethylparaben|propylparaben|butylparaben|phenoxyethanol|phenoxyisopropanol|benzyl alcohol
    |chlorphenesin|dichlorobenzyl alcohol|imidazolidinyl urea|diazolidinyl urea|dmdm hydantoin|2-bromo-2-nitropropane-1,3-diol
    |iodopropynyl butylcarbamate|methylisothiazolinone|methylchloroisothiazolinone|o-cymen-5-ol|p-chloro-m-cresol|chloroxylenol
    |caprylyl glycol|ethylhexylglycerin|hydroxyacetophenone|phenethyl alcohol|glyceryl caprylate|glyceryl caprate|glyceryl laurate
    |glyceryl undecylenate|phenylpropanol|decylene glycol|hexylene glycol|methylpropanediol|ethyl lactate|propanediol caprylate
    |sorbitan caprylate|caprylyl/capryl glucoside|magnolol|glycerin|diglycerin|propanediol|propylene glycol|dipropylene glycol
    |butylene glycol|pentylene glycol|1,2-hexanediol|ethoxydiglycol|isopentyldiol|dimethyl isosorbide|alcohol|isopropyl alcohol
    |sorbitol|xylitol|erythritol|mannitol|inositol|glucose|fructose|sucrose|lactose|trehalose|maltitol|rhamnose|panthenol|urea
    |hydroxyethyl urea|allantoin|niacinamide|caffeine|ectoin|creatine|carnitine|taurine|acetyl glucosamine|bisabolol|menthol|camphor
    |thymol|resveratrol|retinol|retinyl palmitate|retinyl acetate|methyl benzoate|ethyl benzoate|methyl eugenol|bergapten|safrole
    |bakuchiol|ubiquinone|squalane|squalene|isopropyl myristate|isopropyl palmitate|dicaprylyl ether|dicaprylyl carbonate
    |triethyl citrate|tocopherol|tocopheryl acetate|bht|bha|coco-glucoside|decyl glucoside|lauryl glucoside|caprylyl glucoside
    |cocamide mea|cocamide mipa|laureth-4|peg-7 glyceryl cocoate|polyglyceryl-4 caprate|polyglyceryl-10 laurate|sucrose laurate
    |poloxamer 184|polysorbate 20|polysorbate 40|polysorbate 60|polysorbate 80|peg-40 hydrogenated castor oil
    |peg-60 hydrogenated castor oil|peg-35 castor oil|poloxamer 407|poloxamer 188|polyglyceryl-6 caprylate|polyglyceryl-4 caprylate
    |polyglyceryl-5 oleate|polyglyceryl-3 caprylate|polyglyceryl-4 laurate/sebacate|ppg-26-buteth-26|laureth-7|laureth-9|oleth-20
    |cetearyl olivate|sorbitan olivate|cetearyl glucoside|arachidyl glucoside|c14-22 alcohols|c12-20 alkyl glucoside|glyceryl stearate
    |glyceryl oleate|peg-100 stearate|peg-40 stearate|ceteareth-20|ceteareth-25|ceteareth-12|steareth-2|steareth-20|steareth-21
    |sorbitan oleate|sorbitan laurate|sorbitan stearate|sorbitan palmitate|sorbitan sesquioleate|sorbitan isostearate|sucrose stearate
    |sucrose palmitate|sucrose cocoate|sucrose polystearate|methyl glucose sesquistearate|polyglyceryl-2 dipolyhydroxystearate
    |polyglyceryl-3 diisostearate|polyglyceryl-3 polyricinoleate|polyglyceryl-3 methylglucose distearate|polyglyceryl-6 distearate
    |polyglyceryl-2 stearate|polyglyceryl-3 stearate|polyglyceryl-4 isostearate|polyglyceryl-6 polyricinoleate
    |polyglyceryl-10 stearate|polyglyceryl-10 oleate|peg-30 dipolyhydroxystearate|cetyl peg/ppg-10/1 dimethicone|glycol distearate
    |glycol stearate|peg-150 distearate|peg-120 methyl glucose dioleate|hydroxyethylcellulose|hydroxypropyl methylcellulose
    |hydroxypropylcellulose|methylcellulose|cetyl hydroxyethylcellulose|hydroxypropyl guar|pullulan|pvp|vp/va copolymer
    |polyvinyl alcohol|sclerotium gum|cyamopsis tetragonoloba gum|caesalpinia spinosa gum|ceratonia siliqua gum|glucomannan
    |biosaccharide gum-1|microcrystalline cellulose|maltodextrin|inulin|cetearyl alcohol|cetyl alcohol|stearyl alcohol|behenyl alcohol
    """.replace("\n", "")
    .replace("    ", "")
    .split("|")
)


@lru_cache(maxsize=4096)
def is_neutral(inci: str) -> bool:
    """True for what neither gives nor takes a proton in a product, as far as its name or the table of substances tells; False: not known."""
    return inci_key(inci) in _KNOWN_NEUTRAL or oil_named(inci) is not None or by_rules(inci)


def by_rules(inci: str) -> bool:
    """The same by the rules alone, without the list that saves them for what is common."""
    key, substance = inci_key(inci), known(inci)
    if has_colour_index(inci) or re.match(_DYE, key):
        return True
    if "triglyceride" in key or key in _NEUTRAL_NAMES or (_search(_SILICONE, key) and not _search("amin|amod|onium", key)):
        return True
    if substance is not None and substance.charge == "non-ionic" and not _search("amine", key):
        return True
    if is_salt(inci) or _search(_CHARGED, key) or key in _NOT_NEUTRAL:
        return False
    if substance is not None:
        return not substance.charge
    if oil_named(inci) is not None or is_fixed(inci):
        return True
    return not _search(_DRAWN, key) and (_search(_NEUTRAL, key) or _is_scent(inci))


def is_charged(inci: str) -> bool:
    """True for a name with a group that gives or takes protons, or of a salt: no function makes it neutral."""
    key = inci_key(inci)
    return not is_neutral(inci) and (is_salt(inci) or _search(_CHARGED, key) or pull_of(inci) is not None)


def _is_scent(inci: str) -> bool:
    """True for a fragrance substance: one of the lists of allergens or of the typical constituents of oils."""
    key = inci_key(inci)
    return any(allergen(inci, listed) is not None for listed in LISTS) or any(
        key == inci_key(name) for oil in OILS for name in oil.constituents
    )
