"""Sectioned records as their files hold them: one that says all it can, one in other words, one with much not noted."""

FULL = """\
Airtightness record;version 2
[Test]
Programme;Harrow whole-house 2026
Job;FV-2063
House;H-152
Stage;after
Visit;3
Attempt;2
Retest of;FV-2061
Replaces;FV-2062
Result of record;yes
Title;Final test, both directions
Started;24.03.2026 10:42
Ended;24.03.2026 11:31
UTC offset;+01:00
Contractor;Harrow Insulation
Crew;C2
Tester;tk
Procedure;multi-point
[House]
Volume;655,0;m³
Volume takes in;heated rooms and the stairwell
Volume from;measured
Floor area;262,0;m²
Floor area takes in;heated floors, inside dimensions
Floor area from;drawings
Envelope area;548,0;m²
Envelope area takes in;walls, roof and lowest floor
Envelope area from;estimated
Height;7,9;m
Storeys;2,5
Built;1962
Type;detached
Foundation;crawl space
Garage attached;yes
Elevation;120;m
Terrain;suburban
Shielding;moderate
Climate zone;5A
Boundary;whole building
Basement within;yes
Garage within;no
[Preparation]
How;chimney flap shut, trickle vents sealed with tape
Exhaust fans;off
Combustion appliances;off
Attic hatch;closed
Fireplace damper;sealed
Windows;closed
Vents;sealed
Why this direction;both, the mean is asked for
[Air]
Indoor;20,5;°C
Outdoor;4,0;°C
Indoor humidity;42;%
Outdoor humidity;87,5;%
Barometer;1009,5;hPa
Wind;2,5;m/s
Wind averaged over;600;s
Gust;4,0;m/s
Gust over;3;s
No gust;no
Wind from;240;°
Wind height;10;m
Wind by;station
Wind station;FENNICK RIDGE
Wind station distance;14,2;km
Precipitation;rain
Ground;wet
[Kit]
Gauge;G-0417
Gauge calibrated;12.05.2025
Gauge due;12.05.2026
Gauge accuracy;0,15;Pa
Gauge accuracy of reading;0,9;%
Gauge resolution;0,1;Pa
Fan;F-0093
Fan calibrated;02.06.2025
Fan due;02.06.2027
Fan accuracy;3,5;%
Fan pressure against;room
Line end;several facades
Line length;24;m
Line bore;6,35;mm
Line end fitted with;tee in a windproof box
Line damping;capillary, 0,4 s
Line faces;135;°
Line end height;0,3;m
Line end from fan;9,5;m
Line end from wall;2,4;m
Line leaves by;door panel
Line looked at;dry
Indoor port;hall, 2 m from the fan
[Fan calibration]
Opening;Coefficient;Exponent;Least fan pressure;Greatest fan pressure;Reference density
;m³/h;;Pa;Pa;kg/m³
full;492,0;0,500;10;79,9;1,204
half;168,0;0,505;15;320;1,204
full;478,6;0,506;80;320;1,204
[Depressurisation]
Fan held;automatic
Baseline before;-1,35;Pa
Baseline before positive;0,28;Pa
Baseline before negative;-1,62;Pa
Baseline before spread;0,42;Pa
Baseline before count;60
Baseline before seconds;60;s
Baseline before covered;yes
Baseline after;-1,20;Pa
Baseline after positive;0,35;Pa
Baseline after negative;-1,48;Pa
Baseline after spread;0,47;Pa
Baseline after count;45
Baseline after seconds;45;s
Baseline after covered;no
Point;Target;Envelope;Spread;Seconds;Count;Opening;Fan pressure;Flow;Flow is;Left out;Why;Given up
;Pa;Pa;Pa;s;;;Pa;m³/h;;;;
1;-75;-66,8;1,1;30;60;full;140,1;5835;indicated;no;;yes
2;-60;-60,4;0,9;30;60;full;122,9;5461;indicated;no;;no
3;-50;-50,2;0,8;30;60;full;97,8;4865;indicated;no;;no
4;-40;-40,6;2,6;30;60;full;73,8;4227;indicated;yes;door opened, then shut;no
5;-30;-29,7;0,7;30;60;full;48,9;3440;indicated;no;;no
6;-20;-20,3;0,6;30;60;full;29,7;2681;indicated;no;;no
7;-10;-10,9;0,6;40;80;half;104,2;1755;indicated;no;;no
[Pressurisation]
Fan held;by hand
Baseline before;-1,20;Pa
Baseline before positive;0,35;Pa
Baseline before negative;-1,48;Pa
Baseline before spread;0,47;Pa
Baseline before count;45
Baseline before seconds;45;s
Baseline before covered;yes
Baseline after;-1,05;Pa
Baseline after positive;0,41;Pa
Baseline after negative;-1,31;Pa
Baseline after spread;0,39;Pa
Baseline after count;45
Baseline after seconds;45;s
Baseline after covered;yes
Point;Target;Envelope;Spread;Seconds;Count;Opening;Fan pressure;Flow;Flow is;Extrapolated to;With exponent
;Pa;Pa;Pa;s;;;Pa;m³/h;;Pa;
1;60;60,3;1,0;30;60;full;127,7;5568;indicated;;
2;50;46,1;0,9;30;60;full;92,4;4983;extrapolated;50;0,65
3;40;39,5;0,8;30;60;full;75,6;4278;indicated;;
4;30;30,2;0,7;30;60;full;55,1;3652;indicated;;
5;20;19,8;0,7;30;60;full;33,2;2835;indicated;;
[Result]
Flow at 50 Pa;4925;m³/h
Air changes at 50 Pa;7,52;1/h
Natural air changes;0,41;1/h
Coefficient;421,5;m³/h
Exponent;0,628
Exponent assumed;no
Correlation r;0,9994
Correlation r2;0,9988
Leakage area;1613,5;cm²
Area at;10;Pa
Discharge coefficient;0,611
Method;mean of both directions
Result is;measured
"""

OTHER_WORDS = """\
Airtightness record;version 2

[Test]
UTC offset;-03:30
Started;09.01.2026 15:20
Stage;interim
Job;FV-2064
Result of record;no
Procedure;multi-point

[House]
Boundary;unit, to outside
Type;terraced
Foundation;slab
Terrain;open water
Shielding;very heavy
Garage attached;no
Basement within;no
Garage within;yes
Volume;214,0;m³
Volume from;drawings
Floor area from;assumed
Envelope area from;not noted

[Preparation]
Exhaust fans;on
Combustion appliances;on
Attic hatch;open
Fireplace damper;closed
Windows;sealed
Vents;open

[Air]
Wind by;mast
Wind;0,0;m/s
No gust;yes
Wind from;360;°
Outdoor;-14,5;°C
Outdoor humidity;100;%
Precipitation;snow
Ground;snow-covered

[Kit]
Line end;sheltered
Line faces;0;°
Line end height;-1,2;m
Line leaves by;wall opening
Line looked at;water found
Fan pressure against;outdoors

[Depressurisation]
Baseline before;-2,40;Pa
Baseline before positive;0;Pa
Baseline before negative;-2,40;Pa
Baseline before covered;no
Point;Given up;Flow is;Flow;Fan pressure;Opening;Seconds;Spread;Envelope;Target
;;;m³/h;Pa;;s;Pa;Pa;Pa
1;no;at device;825;25,7;A;;;-49,6;-50
2;no;envelope;722;;A;30;;-40,2;-40
3;no;summed;608;;A;30;0,6;-30,3;-30
4;;;479;72,6;B;30;0,5;-20,1;-20
5;yes;;;;;;;;-15

[Result]
Result is;estimated
Exponent;0,65
Exponent assumed;yes
Leakage area;96;cm²
Area at;4;Pa
"""

NOT_NOTED = """\
Airtightness record;version 2
[Test]
Job;FV-2065
House;H-153
Stage;before
Started;26.05.2026 08:05
UTC offset;+05:45
Procedure;multi-point
[House]
Volume;391,0;m³
Volume from;not noted
Type;non-residential
Foundation;mixed
Terrain;city
Shielding;none
Boundary;guarded
[Preparation]
Exhaust fans;not noted
Combustion appliances;not noted
Attic hatch;not noted
Windows;not noted
[Air]
Wind;1,8;m/s
Wind by;model
Wind station;cell 52,4 N 1,9 W
Wind station distance;850;m
Precipitation;not noted
Ground;not noted
[Kit]
Fan pressure against;not noted
Line end;not noted
Line leaves by;not noted
Line looked at;not looked at
[Pressurisation]
Point;Target;Envelope;Spread;Seconds;Opening;Fan pressure;Flow;Left out;Why
;Pa;Pa;Pa;s;;Pa;m³/h;;
1;60;59,5;0,7;20;half;150,2;2149;;
2;45;45,1;0,6;20;half;105,2;1795;no;
3;35;35,3;0,6;20;half;76,9;1532;yes;
4;25;25,2;0,5;20;half;49,2;1223;;
[Result]
Result is;not noted
"""
