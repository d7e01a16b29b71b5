; Inno Setup script: an installer of the folder that build_bundle.py makes on Windows.
; NOT RUN: written without a Windows machine. Compile with: iscc assets\packaging\windows.iss
[Setup]
AppId=Lagline
AppName=Lagline
AppVersion=0.1.0
DefaultDirName={autopf}\Lagline
DefaultGroupName=Lagline
PrivilegesRequired=lowest
ChangesAssociations=yes
OutputBaseFilename=lagline-installer-windows
SourceDir=..\..
OutputDir=dist
LicenseFile=LICENSE

[Files]
Source: "dist\bundle\lagline\*"; DestDir: "{app}"; Flags: recursesubdirs

[Icons]
Name: "{group}\Lagline"; Filename: "{app}\lagline-desk.exe"

[Registry]
Root: HKA; Subkey: "Software\Classes\.lagline"; ValueType: string; ValueData: "Lagline.Session"; Flags: uninsdeletevalue
Root: HKA; Subkey: "Software\Classes\Lagline.Session"; ValueType: string; ValueData: "Lagline session"; Flags: uninsdeletekey
Root: HKA; Subkey: "Software\Classes\Lagline.Session\DefaultIcon"; ValueType: string; ValueData: "{app}\lagline-desk.exe,0"
Root: HKA; Subkey: "Software\Classes\Lagline.Session\shell\open\command"; ValueType: string; ValueData: """{app}\lagline-desk.exe"" ""%1"""
