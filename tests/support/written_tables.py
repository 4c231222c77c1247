"""Tables of parts as ten people write them, all invented: headings and habits from memory, nothing was copied.

Number habits: English (1,380.5), German, Spanish and Italian (1.150,5), French and Polish (1 150,5), Swiss (1'150.5).
What a careful reader makes of each row stands beside it.
"""

TEN: dict[str, tuple[str, dict[str, dict[str, dict]]]] = {
    "an American drawer, ounces and thousands": (
        "Motor,KV,Weight (oz),Rm (mohm),Io (A),Max Amps,LiPo Cells,Price,Qty\n"
        'Plover 2109,"1,380",0.99,145,0.5,12,2-3S,$11.50,2\n'
        'Plover 2709,910,1.6 oz,85,0.7,18 A,3S,"$16",1\n',
        {
            "motors": {
                "Plover 2109": {
                    "kv_rpm_per_v": 1380,
                    "kv_kind": "label",
                    "mass_g": 28.066,
                    "resistance_ohm": 0.145,
                    "no_load_current_a": 0.5,
                    "max_current_a": 12,
                    "cells_min": 2,
                    "cells_max": 3,
                },
                "Plover 2709": {
                    "kv_rpm_per_v": 910,
                    "mass_g": 45.359,
                    "max_current_a": 18,
                    "cells_min": None,
                    "cells_max": 3,
                },
            }
        },
    ),
    "a German list of packs": (
        "Bezeichnung;Zellen;Kapazität (mAh);Entladerate;Gewicht (g);Innenwiderstand (mΩ);Preis\n"
        "Amsel 3S;3S;1.150;30C;92,5;6,1;14,90 €\n"
        "Amsel 2S;2S1P;850 mAh;25C/50C;48,5;9,2;9,90 €\n",
        {
            "packs": {
                "Amsel 3S": {
                    "cells_series": 3,
                    "capacity_mah": 1150,
                    "c_rating": 30,
                    "mass_g": 92.5,
                    "cell_resistance_mohm": 6.1,
                },
                "Amsel 2S": {
                    "cells_series": 2,
                    "cells_parallel": 1,
                    "capacity_mah": 850,
                    "c_rating": 25,
                    "burst_c_rating": 50,
                    "mass_g": 48.5,
                },
            }
        },
    ),
    "a French club's propellers": (
        "Hélice\tDiamètre (pouces)\tPas (pouces)\tPales\tPoids\tRégime max (tr/min)\n"
        "souple 8,5x4,5\t8,5\t4,5\t2\t6,8 g\t12\u202f500\n"
        "tripale\t7\t4\t3\t7,1 g\t\n",
        {
            "propellers": {
                "souple 8,5x4,5": {"diameter_in": 8.5, "pitch_in": 4.5, "blades": 2, "mass_g": 6.8, "max_rpm": 12500},
                "tripale": {"diameter_in": 7, "pitch_in": 4, "blades": 3, "mass_g": 7.1, "max_rpm": None},
            }
        },
    ),
    "a Spanish list of controllers": (
        "Modelo;Corriente continua (A);Pico (A);BEC;Peso (g);Celdas\n"
        "gorrión 20;20;25;5V/2A lineal;18,5;2-4S\n"
        "gorrión 12;12;16A/10s;SBEC 5V/3A;9,3;2-3\n"
        "gorrión 40;40;55;OPTO;32;3-6S\n",
        {
            "controllers": {
                "gorrión 12": {
                    "max_current_a": 12,
                    "burst_current_a": 16,
                    "burst_seconds": 10,
                    "servo_supply": "switching",
                    "servo_supply_v": 5,
                    "mass_g": 9.3,
                    "cells_min": 2,
                    "cells_max": 3,
                },
                "gorrión 40": {
                    "max_current_a": 40,
                    "burst_current_a": 55,
                    "servo_supply": "none",
                    "mass_g": 32,
                    "cells_max": 6,
                },
            }
        },
    ),
    "an Italian table of motors": (
        "Nome;KV;Peso (g);Potenza max (W);Corrente max (A);Celle;Resistenza (ohm)\n"
        "rondine 2109;1.120;31,5;140;13,5;2-3;0,118\n"
        "rondine 2910;740;1 oz;250;20;3S;0,062\n",
        {
            "motors": {
                "rondine 2109": {
                    "kv_rpm_per_v": 1120,
                    "mass_g": 31.5,
                    "max_power_w": 140,
                    "max_current_a": 13.5,
                    "cells_min": 2,
                    "cells_max": 3,
                    "resistance_ohm": 0.118,
                },
            }
        },
    ),
    "a Polish drawer of everything, with its kind": (
        "Rodzaj;Nazwa;KV;Pojemność (mAh);Cele;C;Prąd max (A);Rozmiar;Masa (g)\n"
        "silnik;jaskółka;1 260;;2-3S;;14;;29,4\n"
        "bateria;czyżyk;;1 150;3S;35;;;95\n"
        "regulator;ESC 20;;;2-4S;;20;;18,1\n"
        "śmigło;8x4,5;;;;;;8x4,5;7,2\n",
        {
            "motors": {
                "jaskółka": {"kv_rpm_per_v": 1260, "cells_min": 2, "cells_max": 3, "max_current_a": 14, "mass_g": 29.4}
            },
            "packs": {"czyżyk": {"cells_series": 3, "capacity_mah": 1150, "c_rating": 35, "mass_g": 95}},
            "controllers": {"ESC 20": {"max_current_a": 20, "cells_min": 2, "cells_max": 4, "mass_g": 18.1}},
            "propellers": {"8x4,5": {"diameter_in": 8, "pitch_in": 4.5, "mass_g": 7.2}},
        },
    ),
    "a Swiss price list of packs": (
        "Akku;Spannung;Kapazität/mAh;C-Rate;Gewicht in g;Stecker;Preis\n"
        "Dohle;11.1V;1'150;30;92.5;gelb;CHF 17.50\n"
        "Elster;7.4 V;2'350;38;128;gelb;CHF 22.-\n",
        {
            "packs": {
                "Dohle": {"cells_series": 3, "capacity_mah": 1150, "c_rating": 30, "mass_g": 92.5},
                "Elster": {"cells_series": 2, "capacity_mah": 2350, "c_rating": 38, "mass_g": 128},
            }
        },
    ),
    "a web page, copied": (
        "Model\tKV (rpm/V)\tWeight\tVoltage\tMax. current\tProp\tShaft\n"
        "Wader 1909\t1990\t9.3 g\t2S\t7A\t6x3\t2 mm\n"
        "Wader 2510\t990 rpm/V\t48.5 g\t7.4-11.1V\t19A\t9x5\t3 mm\n",
        {
            "motors": {
                "Wader 1909": {"kv_rpm_per_v": 1990, "mass_g": 9.3, "cells_max": 2, "max_current_a": 7},
                "Wader 2510": {
                    "kv_rpm_per_v": 990,
                    "mass_g": 48.5,
                    "cells_min": 2,
                    "cells_max": 3,
                    "max_current_a": 19,
                },
            }
        },
    ),
    "a British notebook, told by what rows fill": (
        "Item,KV,mAh,C,Cells,Dia (in),Pitch (in),Weight\n"
        "Dunlin,1450,,,2-3S,,,28 g\n"
        "Teal pack,,1150,30C,3S,,,92g\n"
        "Snipe,,,,,8,4.5,7 g\n",
        {
            "motors": {"Dunlin": {"kv_rpm_per_v": 1450, "cells_min": 2, "cells_max": 3, "mass_g": 28}},
            "packs": {"Teal pack": {"capacity_mah": 1150, "c_rating": 30, "cells_series": 3, "mass_g": 92}},
            "propellers": {"Snipe": {"diameter_in": 8, "pitch_in": 4.5, "mass_g": 7}},
        },
    ),
    "names that hold the numbers": (
        "Product,Weight (g),Price,Stock\n"
        '"LiPo pack 3S 11.1V 1150mAh 30C, yellow plug",92.5,14.90,3\n'
        '"LiPo pack 2S 7.4V 850mAh 25C",48,9.90,5\n',
        {
            "packs": {
                "LiPo pack 3S 11.1V 1150mAh 30C, yellow plug": {
                    "cells_series": 3,
                    "capacity_mah": 1150,
                    "c_rating": 30,
                    "mass_g": 92.5,
                },
                "LiPo pack 2S 7.4V 850mAh 25C": {"cells_series": 2, "capacity_mah": 850, "c_rating": 25, "mass_g": 48},
            }
        },
    ),
}
"""What each is, its text, and kind to name to the numbers of a part."""

NATURAL = {
    "motors.csv": "Name,KV,Weight (g),Rm,Io,Max A,Cells\nPlover,1450,28,0.145,0.5,12,2-3S\n",
    "packs.csv": "Name,Cells,mAh,C,Weight (g),IR\nAmsel,2S,850,30C,48.5,9\n",
    "propellers.csv": "Name,Diameter (in),Pitch (in),Blades\nSnipe,8,4.5,2\n",
    "controllers.csv": "Name,Max current (A),Weight (g),BEC\nWren,20,9.3 g,SBEC\n",
}
"""Twenty-one columns under the headings that a new user types."""
