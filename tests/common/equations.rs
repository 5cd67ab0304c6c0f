//! Published equations with their coefficients: balanced by the library and through the command.

/// Source, equation, coefficients.
pub const EQUATIONS: &[(&str, &str, &str)] = &[
    (
        "R. J. Stout, J. Chem. Educ. 72 (1995) 1125; coefficients from memory, verified",
        "[Cr(N2H4CO)6]4[Cr(CN)6]3 + KMnO4 + H2SO4 = K2Cr2O7 + MnSO4 + CO2 + KNO3 + K2SO4 + H2O",
        "10 1176 1399 35 1176 420 660 223 1879",
    ),
    (
        "a circulated hard case in the manner of J. Chem. Educ. 63 (1986) 359; from memory, verified",
        "H2 + Ca(CN)2 + NaAlF4 + FeSO4 + MgSiO3 + KI + H3PO4 + PbCrO4 + BrCl + CF2Cl2 + SO2 = PbBr2 + CrCl3 + \
         MgCO3 + KAl(OH)4 + Fe(SCN)3 + PI3 + Na2SiO3 + CaF2 + H2O",
        "88 15 6 10 3 6 2 6 12 3 20 6 6 3 6 10 2 3 15 79",
    ),
    ("textbook classic, from memory, verified", "As2S3 + HNO3 + H2O = H3AsO4 + H2SO4 + NO", "3 28 4 6 9 28"),
    (
        "textbook classic, from memory, verified",
        "Pb(N3)2 + Cr(MnO4)2 = Cr2O3 + MnO2 + Pb3O4 + NO",
        "15 44 22 88 5 90",
    ),
    ("Oxford virtual chemistry laboratory", "Fe^2+ + MnO4^- + H^+ = Fe^3+ + Mn^2+ + H2O", "5 1 8 5 1 4"),
    ("a Vietnamese school site (hoc24)", "K2SO3 + KMnO4 + KHSO4 = K2SO4 + MnSO4 + H2O", "5 2 6 9 2 3"),
    (
        "an examination exercise (luyentap365 152158)",
        "FeSO3 + KMnO4 + KHSO4 = Fe2(SO4)3 + K2SO4 + MnSO4 + H2O",
        "10 6 28 5 17 6 14",
    ),
    (
        "a forum answer (hocmai 147949)",
        "FeSO4 + KMnO4 + NaHSO4 = Fe2(SO4)3 + MnSO4 + K2SO4 + Na2SO4 + H2O",
        "10 2 16 5 2 1 8 8",
    ),
    (
        "a homework answer (enotes 253381)",
        "K4Fe(CN)6 + H2SO4 + H2O = K2SO4 + FeSO4 + (NH4)2SO4 + CO",
        "1 6 6 2 1 3 6",
    ),
    ("test suite of chempy 0.10.2", "CuSCN + KIO3 + HCl = CuSO4 + KCl + HCN + ICl + H2O", "4 7 14 4 7 4 7 5"),
    ("test suite of chempy 0.10.2", "NH4ClO4 + Al = Al2O3 + HCl + H2O + N2", "6 10 5 6 9 3"),
    ("test suite of chempy 0.10.2", "C7H5(NO2)3 + NH4NO3 = CO + H2O + N2", "2 7 14 19 10"),
    ("test suite of chempy 0.10.2", "C2H6 + O2 = H2O + CO2", "2 7 6 4"),
    ("test suite of chempy 0.10.2", "Zn+2 + e- = Zn", "1 2 1"),
    ("OpenStax Chemistry 2e, 4.1, fs-idp267125008", "PCl5 + H2O = POCl3 + HCl", "1 1 1 2"),
    ("OpenStax Chemistry 2e, 4.1", "Cu + HNO3 = Cu(NO3)2 + H2O + NO", "3 8 3 4 2"),
    ("OpenStax Chemistry 2e, 4.1", "Fe + O2 = Fe2O3", "4 3 2"),
    ("OpenStax Chemistry 2e, 4.1", "(NH4)2Cr2O7 = Cr2O3 + N2 + H2O", "1 1 1 4"),
    ("OpenStax Chemistry 2e, 4.1", "P4 + Cl2 = PCl3", "1 6 4"),
    ("OpenStax Chemistry 2e, 4.1", "PtCl4 = Pt + Cl2", "1 1 2"),
    ("OpenStax Chemistry 2e, 4.1", "C4H10 + O2 = CO2 + H2O", "2 13 8 10"),
    ("OpenStax Chemistry 2e, 4.1", "N2 + O2 = N2O5", "2 5 2"),
];
